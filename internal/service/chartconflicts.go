package service

import (
	"cmp"
	"context"
	"encoding/binary"
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// conflictList is a page of conflicts while it is put together.
type conflictList struct {
	*desk
	key             record.Key // zero for any
	patient, clinic record.ID  // zero for any
	size            int

	// record and register are where the page before ended.
	record   string // its key in the index
	register record.Register

	conflicts []*chartv1.Conflict
	touched   []touched
	last      []byte // where the last of conflicts stands
}

// read reads where the page before ended.
func (c *conflictList) read(at []byte) error {
	if at == nil {
		return nil
	}
	const recordBytes = 1 + 2 + 16
	if len(at) < recordBytes+4 {
		return badPage()
	}
	c.record = string(at[:recordBytes])
	c.register = record.Register{Field: binary.BigEndian.Uint32(at[recordBytes:]), Path: record.Path(at[recordBytes+4:])}
	return nil
}

// place is where a page ends: at a register of a record.
func place(key string, r record.Register) []byte {
	return append(binary.BigEndian.AppendUint32([]byte(key), r.Field), r.Path...)
}

// collect fills the page and returns where it ends; nothing when there are no more.
func (c *conflictList) collect(ctx context.Context) (next []byte, err error) {
	from := c.keysUnder(string(byConflict))
	at := c.record[:max(len(c.record)-1, 0)] // a place right before that record: all keys have one length
	for batch := from(at, indexBatch); len(batch) > 0; batch = from(at, indexBatch) {
		for _, f := range batch {
			if at = f.key; !c.wants(f.facts) {
				continue
			}
			if next, err := c.add(ctx, f); err != nil || next != nil {
				return next, err
			}
		}
	}
	return nil, nil
}

func (c *conflictList) wants(f *chart.Facts) bool {
	return (c.key == record.Key{} || f.Key == c.key) && (c.patient.IsZero() || slices.Contains(f.Patients, c.patient)) &&
		(c.clinic.IsZero() || slices.Contains(f.Clinics, c.clinic))
}

// add adds the conflicts of one record that are behind the place where the page before ended; next is where the page ends when it is full.
func (c *conflictList) add(ctx context.Context, f found) (next []byte, err error) {
	s, err := c.may(ctx, f.facts)
	if fault.Of(err) != nil {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	r, err := c.ledger.Read(ctx, c.org, f.facts.Key)
	if err != nil {
		return nil, err
	}
	registers, shown := r.State.Conflicts(), c.desk.chart.Conflicts(r.State)
	entered := false
	for i := range registers {
		at := registers[i].Register
		if f.key == c.record && compareRegisters(at, c.register) <= 0 {
			continue
		}
		if len(c.conflicts) == c.size {
			return c.last, nil
		}
		c.conflicts, c.last = append(c.conflicts, shown[i]), place(f.key, at)
		if !entered {
			c.touched, entered = append(c.touched, touchedBy(f.facts, s)), true
		}
	}
	return nil, nil
}

func compareRegisters(a, b record.Register) int {
	return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.Field, b.Field))
}
