package service

import (
	"context"
	"errors"
	"time"

	"needlebook/internal/chart"
	"needlebook/internal/ledger"
	"needlebook/internal/store"
)

// Terms is what the records of a server's ledger are found by. Whoever opens the ledger of a server to write to it, or to check it, gives it these.
func Terms() ledger.Terms {
	return ledger.Terms{Version: chart.TermsVersion, Of: chart.Terms, Clinic: chart.HeldClinic}
}

// makeTerms makes the ledger's index anew where it is of another version. On a full disk the server starts all the same; traces say then that they cannot.
func (s *Service) makeTerms(ctx context.Context) error {
	began := time.Now()
	made, err := s.ledger.MakeTerms(ctx)
	if errors.Is(err, store.ErrDiskFull) {
		s.Log.Warn("the index of lots was not made: the disk is full")
		return nil
	}
	if made {
		s.Log.Info("made the index of lots", "took", time.Since(began).Round(time.Millisecond).String())
	}
	return err
}
