package service

import (
	"context"
	"net/http"
	"sync"
	"sync/atomic"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	"needlebook/gen/needlebook/chart/v1/chartv1connect"
	"needlebook/internal/chart"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// charting answers ChartService.
type charting struct {
	*Service
	chart *chart.Chart
	index *index
	warm  atomic.Bool
	// builtin is the edition that comes with the program, read once.
	builtin func() (*formulary.Edition, error)
	// kept are the clinics' own editions.
	kept *kept
}

// newCharting prepares the handlers of ChartService. The index is built by the first call that needs it, or by WarmUp.
func newCharting(s *Service) *charting {
	c := chart.New(s.schema, nil)
	return &charting{Service: s, chart: c, index: newIndex(s.ledger, c), builtin: sync.OnceValues(formulary.Builtin), kept: &kept{}}
}

// newChartHandler mounts ChartService.
func newChartHandler(s *Service) (string, http.Handler) {
	return chartv1connect.NewChartServiceHandler(s.charting, s.options()...)
}

// WarmUp builds the indexes that searches and lists stand on, so that the first does not wait for them, and returns how many records are in them. Calls
// may come meanwhile.
func (s *Service) WarmUp(ctx context.Context) (records int, err error) {
	orgs, err := s.Organisations(ctx)
	if err != nil {
		return 0, err
	}
	for _, o := range orgs {
		index, err := s.charting.index.follow(ctx, recordID(o.ID))
		if err != nil {
			return records, err
		}
		records += index.size()
	}
	s.charting.warm.Store(true)
	return records, nil
}

// Warm reports whether WarmUp has ended well.
func (s *Service) Warm() bool { return s.charting.warm.Load() }

// desk is ChartService for one call: who calls, with the index of her organisation as it stands, and the names that views show.
type desk struct {
	*charting
	call  *call
	org   record.ID
	index *orgIndex
	chart *chart.Chart
	// origin is what the call's edit counts as; the zero value is a device.
	origin record.Origin
}

// open brings the index up to date and returns the desk of a call. Everything acknowledged before the call is in it.
func (h *charting) open(ctx context.Context) (*desk, error) {
	c := callOf(ctx)
	d := &desk{charting: h, call: c, org: recordID(c.principal.Org)}
	var err error
	if d.index, err = h.index.follow(ctx, d.org); err != nil {
		return nil, err
	}
	d.chart = h.chart.With(&people{ctx: ctx, desk: d}).Knowing(func(m proto.Message) error { return d.checkNames(ctx, m) })
	return d, nil
}

// checkNames refuses products and muscles that neither the shipped edition nor one that a clinic of the organisation chose knows.
func (d *desk) checkNames(ctx context.Context, m proto.Message) error {
	e, err := d.builtin()
	if err != nil {
		return err
	}
	s := newShelf(ctx, d)
	s.open = true
	return gather.CheckNames(s, e, m)
}

// source is a record with what a view wants to know beside it. The history is read only where a held edit waits.
func (d *desk) source(ctx context.Context, r ledger.Record) (chart.Source, error) {
	s := chart.Source{State: r.State, Held: r.Held}
	if len(r.Held) == 0 {
		return s, nil
	}
	entries, err := d.ledger.History(ctx, d.org, r.State.Key)
	for i := range entries {
		s.Later = append(s.Later, entries[i].Edit)
	}
	return s, err
}

// accountID turns the id of a record into one of an account.
func accountID(id record.ID) uuid.UUID { return uuid.UUID(id) }
