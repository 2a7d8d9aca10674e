package service

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"sync/atomic"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/store"
)

// heard is when a device was last heard of, and how it stood.
type heard struct {
	AtMS         int64  `json:"at_unix_ms"`
	Acknowledged uint64 `json:"acknowledged"`
	Unsent       uint64 `json:"unsent"`
	// OldestUnsentMS is when the oldest unsent edit was made, by the device's clock, milliseconds since 1970 UTC; 0 when all were sent.
	OldestUnsentMS int64 `json:"oldest_unsent_unix_ms,omitempty"`
}

// seen is when each device was last heard of. It is kept in memory and written from time to time, so that an idle exchange costs no write;
// what a crash
// loses is minutes of it. It may be used concurrently.
type seen struct {
	mu      sync.Mutex
	devices map[uuid.UUID]heard
	changed map[uuid.UUID]uuid.UUID // device -> organisation
}

func newSeen() *seen {
	return &seen{devices: map[uuid.UUID]heard{}, changed: map[uuid.UUID]uuid.UUID{}}
}

func (s *seen) note(org, device uuid.UUID, h heard) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.devices[device], s.changed[device] = h, org
}

func (s *seen) get(device uuid.UUID) (heard, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, ok := s.devices[device]
	return h, ok
}

func (s *seen) load(ctx context.Context, st store.Store) error {
	prefix := key(keySeen)
	return st.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(k, _ []byte) error {
			h, err := getJSON[heard](r, k)
			if err == nil && len(k) != 34 {
				err = fmt.Errorf("key of %d bytes: %w", len(k), store.ErrCorrupt)
			}
			if err == nil {
				s.devices[uuid.UUID(k[18:])] = h
			}
			return err
		})
	})
}

// write stores what changed since the last time.
func (s *seen) write(ctx context.Context, st store.Store) error {
	s.mu.Lock()
	changed, rows := s.changed, map[uuid.UUID]heard{}
	s.changed = map[uuid.UUID]uuid.UUID{}
	for d := range changed {
		rows[d] = s.devices[d]
	}
	s.mu.Unlock()
	if len(changed) == 0 {
		return nil
	}
	err := st.Update(ctx, func(w store.Writer) error {
		for d, org := range changed {
			if err := putJSON(w, key(keySeen, org[:], d[:]), rows[d]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil { // the next time
		s.mu.Lock()
		defer s.mu.Unlock()
		maps.Copy(s.changed, changed)
	}
	return err
}

// counts are figures of all calls since the start.
type counts struct {
	calls, refused, failed, edits, rows atomic.Int64
}

// Counts are figures of all calls since the start.
type Counts struct {
	Calls   int64 // all
	Refused int64 // with a reason that the caller can mend
	Failed  int64 // inside the server
	Edits   int64 // taken by exchanges, sent again or not
	Rows    int64 // records sent by exchanges
}

// Counts reads the figures.
func (s *Service) Counts() Counts {
	c := &s.counts
	return Counts{Calls: c.calls.Load(), Refused: c.refused.Load(), Failed: c.failed.Load(), Edits: c.edits.Load(), Rows: c.rows.Load()}
}

func (s *Service) count(c *call) {
	s.counts.calls.Add(1)
	switch c.reason {
	case faultv1.Reason_REASON_UNSPECIFIED:
	case faultv1.Reason_REASON_INTERNAL, faultv1.Reason_REASON_DATA_LOSS, faultv1.Reason_REASON_UNAVAILABLE, faultv1.Reason_REASON_DISK_FULL:
		s.counts.failed.Add(1)
	default:
		s.counts.refused.Add(1)
	}
}
