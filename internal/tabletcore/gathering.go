package tabletcore

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/record"
)

// known is what a request says of what the tablet knows beside its records.
type known struct {
	// AtUnixMS is the tablet's clock.
	AtUnixMS int64 `json:"at_unix_ms"`
	// Clock is what is known of that clock, a name of ClockState; empty for unchecked.
	Clock string `json:"clock"`
}

// shelf is the tablet's records as gather walks them. Whoever works on the tablet may read all that it holds.
type shelf struct {
	c     *Core
	clock dosev1.ClockState
}

func (c *Core) shelf(k known) shelf {
	return shelf{c, dosev1.ClockState(dosev1.ClockState_value[k.Clock])}
}

// View implements gather.Records.
func (s shelf) View(kind optionsv1.RecordKind, id string) (*chartv1.RecordView, error) {
	of, err := record.ParseID(id)
	if err != nil {
		return nil, gather.ErrNone
	}
	v, err := s.c.viewOf(record.Key{Kind: kind, ID: of})
	if err == nil && v == nil {
		err = gather.ErrNone
	}
	return v, err
}

// Person implements gather.Records.
func (s shelf) Person(patient string) (out []string) {
	id, err := record.ParseID(patient)
	if err != nil {
		return nil
	}
	for _, one := range s.c.onePerson(id) {
		out = append(out, one.String())
	}
	return out
}

// Sessions implements gather.Records.
func (s shelf) Sessions(patient string) (out []string) {
	id, err := record.ParseID(patient)
	if err != nil {
		return nil
	}
	for _, k := range s.c.replica.Keys(kindSession) {
		if slices.Contains(s.c.factsOf(k).Patients, id) {
			out = append(out, k.ID.String())
		}
	}
	return out
}

// List implements gather.Records.
func (s shelf) List(kind optionsv1.RecordKind) (out []string) {
	for _, k := range s.c.replica.Keys(kind) {
		out = append(out, k.ID.String())
	}
	return out
}

// CompleteUntil implements gather.Records. The exchange does not say how long a clinic's tablets have been silent, so it is not known, and that is said.
func (s shelf) CompleteUntil(string) *timestamppb.Timestamp { return nil }

// Clock implements gather.Records.
func (s shelf) Clock() dosev1.ClockState {
	if s.clock == dosev1.ClockState_CLOCK_STATE_UNSPECIFIED {
		return dosev1.ClockState_CLOCK_STATE_UNCHECKED
	}
	return s.clock
}

// editionHere is the edition that the tablet's clinic uses.
func (c *Core) editionHere() *formulary.Edition {
	if c.replica == nil {
		return c.edition
	}
	e, _ := gather.Chosen(c.shelf(known{}), c.edition, c.host.ClinicID)
	return e
}

func (k known) at() time.Time { return time.UnixMilli(k.AtUnixMS).UTC() }
