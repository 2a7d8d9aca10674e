package service

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/auth"
	"needlebook/internal/store"
)

// sweepLimit bounds what one round removes, so that a transaction stays short.
const sweepLimit = 1000

// partialPhotoLife is how long the pieces of a photo wait for the rest.
const partialPhotoLife = 30 * 24 * time.Hour

// Maintain does what time brings about: new signing keys, positions that ended, what is over, what waits to be written. Call it every minute
// or so, and once before
// the store is closed. Errors are joined; each part is tried.
func (s *Service) Maintain(ctx context.Context) error {
	errs := []error{s.later.write(ctx, s.Store), s.seen.write(ctx, s.Store), s.rotate(ctx), s.endPositions(ctx)}
	errs = append(errs, s.Store.Update(ctx, func(w store.Writer) error {
		_, err := auth.Sweep(w, s.Now(), sweepLimit)
		return errors.Join(err, s.sweepRequests(w, sweepLimit))
	}))
	_, err := s.Blobs.Sweep(ctx, time.Now().Add(-partialPhotoLife)) // the file system's own clock
	return errors.Join(append(errs, err)...)
}

func (s *Service) rotate(ctx context.Context) error {
	ring, err := s.keyring(ctx)
	if err != nil {
		return err
	}
	// The verifier first: what the signer makes from now on must be good at once. Only a ring that changed, since Use forgets what was verified.
	if s.ringChanged(ring) {
		s.verifier.Use(ring)
		s.signer.Use(ring)
	}
	return nil
}

func (s *Service) ringChanged(ring auth.Keyring) bool {
	id := ring.Keys()[0].ID
	s.ringMu.Lock()
	defer s.ringMu.Unlock()
	changed := s.ringID != id
	s.ringID = id
	return changed
}

// endPositions takes the rights of positions whose last day is over.
func (s *Service) endPositions(ctx context.Context) error {
	orgs, err := s.Organisations(ctx)
	if err != nil {
		return err
	}
	for _, o := range orgs {
		err := s.staffEach(ctx, o.ID, func(id uuid.UUID, m *accessv1.Staff) error {
			if !hasEnd(m) {
				return nil
			}
			return s.Store.Update(ctx, func(w store.Writer) error { return s.endPositionsOf(w, o.ID, id) })
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// endPositionsOf leaves a suspension as the account has it: it may be there without the record.
func (s *Service) endPositionsOf(w store.Writer, org, id uuid.UUID) error {
	m, _, err := s.readStaffIn(w, org, id)
	if err != nil {
		return err
	}
	a, err := auth.GetAccount(w, id)
	if err != nil {
		return err
	}
	_, err = auth.SetPositions(w, org, id, positionsOf(m, s.Now()), a.Suspended)
	return err
}

func hasEnd(m *accessv1.Staff) bool {
	for _, p := range m.GetPositions() {
		if p.GetEnded() == nil && p.GetAssignment().GetUntil() != nil {
			return true
		}
	}
	return false
}
