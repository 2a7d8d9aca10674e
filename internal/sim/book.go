package sim

import (
	"strings"

	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// place is one register of one record.
type place struct {
	key record.Key
	reg record.Register
}

// value is what an edit writes into a register.
type value struct {
	bytes   string
	cleared bool
}

// sight is what someone who looked at a record saw: for each register the edits whose values stood there.
type sight map[record.Register][]int64

// made is an edit as its author made it: the judge's own note, from which nothing is ever taken away.
type made struct {
	at      int64 // authored_at, which is unique and stays with the edit under whatever dot and id it comes back
	id      record.ID
	key     record.Key
	author  record.ID
	dot     causal.Dot // under which it was first made
	order   int        // in which edits were made
	writes  map[record.Register]value
	saw     sight  // of the whole record, when it was made
	told    sight  // values that were listed beside it then: held edits, and the recovered value that it takes
	signed  []byte // the content, when it is a signature
	took    bool   // it takes a value that was recovered, and that may come back by itself
	altered bool   // it says that other values were signed than those shown
	forged  bool   // it signs in the name of another
}

// book is every edit ever made.
type book struct {
	edits   map[int64]*made
	writers map[place][]*made // in the order they were made
	born    map[pathOf]*made  // who made an element
	left    map[place]bool    // registers that a release left out and showed
}

type pathOf struct {
	key  record.Key
	path record.Path
}

func newBook() *book {
	return &book{edits: map[int64]*made{}, writers: map[place][]*made{}, born: map[pathOf]*made{}, left: map[place]bool{}}
}

// note adds an edit, made by someone who saw what saw says.
func (b *book) note(e *record.Edit, saw, told sight) *made {
	m := &made{
		at: e.AuthoredAt, id: e.ID, key: e.Key, author: e.Author, dot: e.Dot, order: len(b.edits), writes: registersOf(e.Writes), saw: saw, told: told,
	}
	b.edits[m.at] = m
	for r := range m.writes {
		p := place{m.key, r}
		b.writers[p] = append(b.writers[p], m)
		if at := (pathOf{m.key, r.Path}); r.Path != "" && b.born[at] == nil {
			b.born[at] = m
		}
	}
	return m
}

// tellOwn notes that an edit covers what its own replica wrote before, whether or not that was still shown: a context cannot leave it out that names a
// later edit of the replica, such as one that was not sent yet when the record left the tablet.
func (b *book) tellOwn(m *made, context causal.Vector) {
	for r := range m.writes {
		for _, f := range b.writers[place{m.key, r}] {
			if f.dot.Replica == m.dot.Replica && f != m && context.Covers(f.dot) {
				m.told[r] = append(m.told[r], f.at)
			}
		}
	}
}

// registersOf takes writes apart by folding them into an empty record.
func registersOf(writes []record.Write) map[record.Register]value {
	e := record.Edit{Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1}, Writes: writes}
	st := record.NewState(record.Key{})
	st.Apply(&e)
	out := map[record.Register]value{}
	for _, c := range st.Values() {
		out[c.Register] = valueOf(c.Siblings[0])
	}
	return out
}

func valueOf(x causal.Sibling) value { return value{string(x.Value), x.Cleared} }

// look is what someone sees who is shown a state.
func look(st *record.State) sight {
	out := sight{}
	for _, c := range st.Values() {
		for _, x := range c.Siblings {
			out[c.Register] = append(out[c.Register], st.Info(x.Dot).AuthoredAt)
		}
	}
	return out
}

// heard is what someone knows who is shown a record's held edits.
func heard(held []wire.Held) sight {
	out := sight{}
	for i := range held {
		for r := range registersOf(held[i].Edit.Writes) {
			out[r] = append(out[r], held[i].Edit.AuthoredAt)
		}
	}
	return out
}

func (s sight) has(r record.Register, at int64) bool {
	for _, x := range s[r] {
		if x == at {
			return true
		}
	}
	return false
}

// carried reports whether an edit's value in a register is among the visible ones, or was superseded by someone who was looking at it or had it listed
// as held, whose value is carried in turn.
func (b *book) carried(m *made, r record.Register, visible func(record.Register, int64) bool) bool {
	if visible(r, m.at) {
		return true
	}
	for _, f := range b.writers[place{m.key, r}] {
		if f.order > m.order && (f.saw.has(r, m.at) || f.told.has(r, m.at)) && b.carried(f, r, visible) {
			return true
		}
	}
	return false
}

// knew reports whether an edit's author had before her an edit's value in a register, or one that was made by someone who had, and so on.
func (b *book) knew(m *made, r record.Register, at int64) bool {
	for _, seen := range m.saw[r] {
		if f := b.edits[seen]; seen == at || f != nil && f.order < m.order && b.knew(f, r, at) {
			return true
		}
	}
	return false
}

// sawValue reports whether an edit's author had a value in a register before her, whoever wrote it. A cleared register reads as one never written.
func (b *book) sawValue(m *made, r record.Register, v value) bool {
	if v.cleared && len(m.saw[r]) == 0 {
		return true
	}
	for _, seen := range m.saw[r] {
		if f := b.edits[seen]; f != nil && f.writes[r] == v {
			return true
		}
	}
	return false
}

// tookAt reports whether someone made an element, or one below it, again from a recovered value.
func (b *book) tookAt(k record.Key, p record.Path) bool {
	for _, m := range b.edits {
		if m.took && m.key == k {
			for r := range m.writes {
				if strings.HasPrefix(string(r.Path), string(p)) {
					return true
				}
			}
		}
	}
	return false
}

// signer is the edit that first signed what a register says; nil when nobody signed that.
func (b *book) signer(k record.Key, r record.Register, v value) *made {
	for _, m := range b.writers[place{k, r}] {
		if m.signed != nil && string(m.signed) == v.bytes {
			return m
		}
	}
	return nil
}
