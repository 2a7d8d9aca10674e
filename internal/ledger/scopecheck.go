package ledger

import (
	"bytes"
	"encoding/binary"
	"slices"

	"needlebook/internal/record"
)

// movedScope is what the log says of a device's scope.
type movedScope struct {
	org     record.ID
	limited bool
	inside  map[record.ID]uint64 // by patient, when she entered
	moves   int
}

// moveOf takes note of an event of a device's scope.
func (c *checker) moveOf(e *event) {
	device := record.ID(e.ref.Replica)
	m := c.moved[device]
	if m == nil {
		m = &movedScope{org: e.org, inside: map[record.ID]uint64{}}
		c.moved[device] = m
	}
	patient := e.key.ID
	if patient.IsZero() {
		m.limited = true
		return
	}
	m.moves++
	direction := byte(0)
	if _, in := m.inside[patient]; in == (e.ref.Counter == scopeEntered) {
		c.fail("event %d: the patient is where she was", e.seq)
	}
	if delete(m.inside, patient); e.ref.Counter == scopeEntered {
		direction, m.inside[patient] = 1, e.seq
	}
	if v, err := optional(c.r, scopeLogKey(device, e.seq)); err != nil || !bytes.Equal(v, append(slices.Clone(patient[:]), direction)) {
		c.fail("event %d: the device is told of another move (%v)", e.seq, err)
	}
}

// scopes holds every device's scope against the log: its mode, who is inside and since when, no move that was not logged; and that who is held because of
// what is booked is who the terms say, where nothing changed since that was looked up.
func (c *checker) scopes(l *Ledger) error {
	rows := map[record.ID]map[byte]int{}
	err := c.r.Scan([]byte{tableScope}, []byte{tableScope + 1}, func(key, v []byte) error {
		if len(key) < 18 {
			c.fail("an entry of a scope has a key of %d bytes", len(key))
			return nil
		}
		device := record.ID(key[1:17])
		if rows[device] == nil {
			rows[device] = map[byte]int{}
		}
		rows[device][key[17]]++
		m := c.moved[device]
		if m == nil {
			if key[17] != scopeChanged {
				c.fail("scope of %v: is not in the log", device)
			}
			return nil
		}
		c.scopeRow(m, device, key[17:], v)
		return nil
	})
	if err != nil {
		return err
	}
	for device, m := range c.moved {
		n := rows[device]
		if n[scopePatient] != len(m.inside) || n[scopeLog] != m.moves || m.limited != (n[scopeMode] == 1) {
			c.fail("scope of %v: holds %d and moved %d times, the log says %d and %d", device, n[scopePatient], n[scopeLog], len(m.inside), m.moves)
		}
		if err := c.booked(l, device, m); err != nil {
			return err
		}
	}
	return nil
}

// scopeRow holds one row of a device's scope against what the log says of it.
func (c *checker) scopeRow(m *movedScope, device record.ID, part, v []byte) {
	if part[0] != scopePatient && part[0] != scopeReason {
		return
	}
	if len(part) != 17 {
		c.fail("scope of %v: names no patient", device)
		return
	}
	since := m.inside[record.ID(part[1:])]
	if part[0] == scopePatient {
		if since == 0 || !bytes.Equal(v, binary.BigEndian.AppendUint64(nil, since)) {
			c.fail("scope of %v: holds %x since another event", device, part[1:])
		}
		return
	}
	if _, err := decodeHolding(v); err != nil || since == 0 {
		c.fail("scope of %v: a reason to hold %x who is outside, or none (%v)", device, part[1:], err)
	}
}

// booked holds who is held because of what is booked against the terms.
func (c *checker) booked(l *Ledger, device record.ID, m *movedScope) error {
	mark, err := optional(c.r, scopeKey(device, scopeBooked))
	if err != nil || mark == nil {
		return err
	}
	spans, changed, version, err := parseBookedMark(mark)
	if err != nil {
		c.fail("scope of %v: %w", device, err)
		return nil
	}
	kept, err := l.termsKept(c.r)
	if err != nil || !kept || version != l.Terms.Version {
		return err
	}
	now, err := optional(c.r, scopeKey(record.ID(mark[8:24]), scopeChanged))
	if err != nil || !bytes.Equal(append(make([]byte, 8-len(now)), now...), changed) {
		return err // its next exchange looks
	}
	want, err := bookedIn(c.r, m.org, spans)
	if err != nil {
		return err
	}
	held, err := holdings(c.r, device)
	if err != nil {
		c.fail("scope of %v: %w", device, err)
		return nil
	}
	for p, h := range held {
		if h.booked != want[p] {
			c.fail("scope of %v: %v is held as booked %v, the terms say %v", device, p, h.booked, want[p])
		}
		delete(want, p)
	}
	if len(want) > 0 {
		c.fail("scope of %v: %d are booked and not held", device, len(want))
	}
	return nil
}
