package sim

import (
	"context"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// seams is where a planted mistake is put in. All are nil in a system that is as it should be; they are set by tests only.
type seams struct {
	lag          int // commits that are acknowledged before they are on the disk
	anySignature bool
	store        func(*world, store.Store) store.Store
	schema       *record.Schema // the server's
	exchange     func(w *world, device record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error)
	release      func(context.Context, *server, ledger.Judgement) ([]record.Register, error)
	draft        func(*tablet, *replica.Draft)
	answer       func(*tablet, *delayed)
	persist      func(*tablet, replica.Changes)
	half         func(*tablet, replica.Changes)
	crash        func(*tablet)
	refused      func(*tablet, error) bool
	forked       func(*tablet, causal.ReplicaID)
	unhold       func(*tablet, record.ID)
	blind        bool // a tablet signs what it shows a part of
	chunk        func(w *world, p piece, take takePiece) (through int64, complete bool, err error)
	album        albumSeams
	folds        folds
}

// albumSeams is mistakes of a tablet with its photos.
type albumSeams struct {
	first     bool // photos go before records, and one that fails stops what is behind it
	forgetful bool // what was sent is not offered again
	careless  bool // what was sent is let go at once
}

// folds is what is computed of states by the program, to be held against what the judges compute.
type folds struct {
	safety    ledger.Summarise
	vial      func(*record.State, []wire.Held) chart.VialLedger
	given     func(*record.State, []wire.Held) chart.Given
	overdrawn func(...chart.VialLedger) []*dosev1.Finding
	late      func(*record.Schema, *record.State) []record.LateEntry
}

// orOurs fills in the program's own.
func (f folds) orOurs() folds {
	if f.safety == nil {
		f.safety = chart.Safety
	}
	if f.vial == nil {
		f.vial = chart.FoldVial
	}
	if f.given == nil {
		f.given = chart.FoldSession
	}
	if f.overdrawn == nil {
		f.overdrawn = chart.OverdrawnFindings
	}
	if f.late == nil {
		f.late = (*record.Schema).LateEntries
	}
	return f
}

type takeExchange func(*syncv1.ExchangeRequest) (*syncv1.ExchangeResponse, error)
