package formulary

import (
	"slices"
	"strconv"
	"strings"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Sections lists the edition's lists by name, in the order of the schema.
func Sections() []string {
	var names []string
	for _, list := range entryLists() {
		names = append(names, string(list.Name()))
	}
	return names
}

// Entry is an entry as people read it.
type Entry struct {
	// List and Key name it; ID is how an edition that derives from this one removes it.
	List, Key, ID string
	// Figures are its fields in the order of the schema, without its key and its provenance.
	Figures []Figure
	// Provenance is where they come from; nil for a source and for what carries none.
	Provenance *formularyv1.Provenance
}

// Figure is a field in people's words and units.
type Figure struct{ Name, Text string }

// Entries lists a section's entries in the edition's order; a name that is none has no entries.
func (e *Edition) Entries(section string) []Entry {
	list, ok := listByName(section)
	if !ok {
		return nil
	}
	var found []Entry
	entries := e.message.ProtoReflect().Get(list).List()
	for i := range entries.Len() {
		value := valueOf(entries.Get(i).Message())
		entry := Entry{List: section, Key: keyOf(value), ID: idOf(entries.Get(i).Message()), Provenance: provenanceOf(value)}
		for _, line := range appendLines(nil, "", value) {
			name, text, _ := strings.Cut(line, "=")
			if name != "code" && name != "name" && !strings.HasPrefix(name, "provenance.") {
				entry.Figures = append(entry.Figures, figure(name, text))
			}
		}
		found = append(found, entry)
	}
	return found
}

// figure is a canonical field in people's words and units: least, 20 mm.
func figure(name, text string) Figure {
	for _, unit := range unitSuffixes() {
		if people, ok := strings.CutSuffix(name, unit.stored); ok {
			of := strings.TrimPrefix(unit.people, " in ")
			return Figure{peopleName(people), strings.TrimSpace(pointed(text, unit.decimals) + " " + of)}
		}
	}
	if o, ok := formularyv1.Obtained_value[text]; ok {
		return Figure{peopleName(name), ObtainedText(formularyv1.Obtained(o))}
	}
	text = peopleValue(name, text)
	if plain, err := strconv.Unquote(text); err == nil && strings.HasPrefix(text, `"`) {
		text = plain
	}
	return Figure{peopleName(name), text}
}

// Change is a figure that differs between two editions.
type Change struct {
	// List and Key name the entry, Field the field as the canonical content writes it.
	List, Key, Field string
	// Was and Is are its values as the canonical content writes them; nil where the edition does not have it.
	Was, Is *string
	// Why is the provenance of the entry as it is now; nil when it is gone or carries none.
	Why *formularyv1.Provenance
	// Removal says that the later edition took the entry away, and whose word that is; nil otherwise.
	Removal *Removal
}

// Removal is why an entry was taken away, by whom (a staff id) and when (RFC 3339, UTC).
type Removal struct{ Reason, By, At string }

// Figure is the changed field in people's words and units: before and after, each empty where there is none.
func (c Change) Figure() (name, was, is string) {
	if c.Was != nil {
		f := figure(c.Field, *c.Was)
		name, was = f.Name, f.Text
	}
	if c.Is != nil {
		f := figure(c.Field, *c.Is)
		name, is = f.Name, f.Text
	}
	return name, was, is
}

// Diff lists what differs from one edition to a later one, one figure an item: in the order of the schema's lists, of the entries' keys, and of their
// fields. Where an edition's content is equal there is nothing.
func Diff(was, is *Edition) []Change {
	old, fresh := was.figures(), is.figures()
	var all []place
	seen := map[place]bool{}
	for _, set := range []figures{old, fresh} {
		for _, p := range set.order {
			if !seen[p] {
				seen[p], all = true, append(all, p)
			}
		}
	}
	sections := Sections()
	slices.SortStableFunc(all, func(a, b place) int {
		if a.list != b.list {
			return slices.Index(sections, a.list) - slices.Index(sections, b.list)
		}
		return strings.Compare(a.key, b.key)
	})
	var changes []Change
	for _, p := range all {
		before, had := old.text[p]
		after, has := fresh.text[p]
		if had == has && before == after {
			continue
		}
		c := Change{List: p.list, Key: p.key, Field: p.field, Why: is.provenance(p.list, p.key)}
		if had {
			c.Was = &before
		}
		if has {
			c.Is = &after
		}
		if void := is.removals[p.list+"/"+p.key]; void != nil && !has {
			c.Removal = &Removal{void.GetReason(), void.GetBy(), ""}
			if void.GetAt() != nil {
				c.Removal.At = void.GetAt().AsTime().UTC().Format("2006-01-02T15:04:05Z07:00")
			}
		}
		changes = append(changes, c)
	}
	return changes
}

// place names a figure; figures are all of an edition.
type place struct{ list, key, field string }

type figures struct {
	order []place
	text  map[place]string
}

func (e *Edition) figures() figures {
	f := figures{text: map[place]string{}}
	for _, line := range e.Lines() {
		head, text, _ := strings.Cut(line, "=")
		entry, field, _ := strings.Cut(head, " ")
		list, key, _ := strings.Cut(entry, "/")
		p := place{list, key, field}
		f.order, f.text[p] = append(f.order, p), text
	}
	return f
}

func (e *Edition) provenance(list, key string) *formularyv1.Provenance {
	field, ok := listByName(list)
	if !ok {
		return nil
	}
	entry, ok := e.entry(field, key)
	if !ok {
		return nil
	}
	return provenanceOf(valueOf(entry))
}
