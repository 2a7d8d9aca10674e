package formulary

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// BuiltinVersion is the version of the edition that is shipped. It changes with any change of the tables.
const BuiltinVersion = "builtin-2"

//go:embed edition/*.csv
var tables embed.FS

// Edition is one version of the formulary with everything that it derives from laid in. The zero value has no entries and no name; make one with
// Builtin or Derive. Invariant: within a list every key occurs once and every entry has a value.
type Edition struct {
	message *formularyv1.FormularyEdition
	hash    [sha256.Size]byte
	// removals say why an entry that the base has is not here, by list/key. They are not content.
	removals map[string]*recordv1.Void
	// adopted and stocked are a clinic's own, by At: dilutions beside the edition's, and codes of syringes. They are not content.
	adopted []*formularyv1.Dilution
	stocked []string
}

// Builtin reads the edition that is shipped. It takes some milliseconds: keep what it returns. An error means that the program was built with
// damaged tables.
func Builtin() (*Edition, error) {
	m := &formularyv1.FormularyEdition{Label: proto.String("Built-in edition"), Version: proto.String(BuiltinVersion)}
	for _, list := range entryLists() {
		table := string(list.Name())
		text, err := tables.ReadFile("edition/" + table + ".csv")
		if err != nil {
			continue // a list without a table: nothing was published for it, or it is the lead's alone
		}
		if err := readTable(m.ProtoReflect(), table, text); err != nil {
			return nil, err
		}
	}
	return seal(m)
}

// EntryError says which entry of an edition cannot stand.
type EntryError struct {
	// List and Key name the entry.
	List, Key string
	// Rule is what it broke, as a phrase.
	Rule string
}

// Error names the entry and the rule.
func (e *EntryError) Error() string { return e.List + " " + e.Key + ": " + e.Rule }

// Derive lays an edition over the one that it derives from: an entry replaces the entry of its list with the same code or name, an entry that only
// removes takes away the entry with its id, all others stay. A base or a publication that the deriving edition names must have the hash that base and
// the result have; a draft that names its base by version alone must have that version's. Neither argument is changed or kept. The error is an *EntryError.
func Derive(base *Edition, derived *formularyv1.FormularyEdition) (*Edition, error) {
	if b := derived.GetBase(); b != nil && !names(b, base) {
		return nil, &EntryError{"base", b.GetVersion(), "is not the edition that this one is laid over"}
	}
	m := proto.CloneOf(derived)
	removals := make(map[string]*recordv1.Void)
	for _, list := range entryLists() {
		into := m.ProtoReflect().NewField(list).List()
		replaced, removed, err := changes(string(list.Name()), m.ProtoReflect().Get(list).List())
		if err != nil {
			return nil, err
		}
		old := base.message.ProtoReflect().Get(list).List()
		for i := range old.Len() {
			entry := old.Get(i).Message()
			if void := removed[idOf(entry)]; void != nil {
				removals[string(list.Name())+"/"+keyOf(valueOf(entry))] = void
			}
			if removed[idOf(entry)] == nil && !replaced[keyOf(valueOf(entry))] {
				into.Append(protoreflect.ValueOfMessage(proto.Clone(entry.Interface()).ProtoReflect()))
			}
		}
		fresh := m.ProtoReflect().Get(list).List()
		for i := range fresh.Len() {
			if entry := fresh.Get(i).Message(); valueOf(entry).IsValid() && !isRemoved(entry) {
				into.Append(protoreflect.ValueOfMessage(entry))
			}
		}
		if into.Len() == 0 {
			m.ProtoReflect().Clear(list)
			continue
		}
		m.ProtoReflect().Set(list, protoreflect.ValueOfList(into))
	}
	e, err := seal(m)
	if err == nil {
		e.removals = removals
	}
	if err == nil && derived.GetPublished() != nil && !bytes.Equal(derived.GetPublished().GetHash(), e.hash[:]) {
		return nil, &EntryError{"published", e.Version(), "has another hash than its content"}
	}
	return e, err
}

// names reports whether a reference is of this edition: by hash, or by version where a draft has no hash yet.
func names(r *formularyv1.EditionReference, e *Edition) bool {
	if len(r.GetHash()) == 0 {
		return r.GetVersion() == e.Version()
	}
	return bytes.Equal(r.GetHash(), e.hash[:])
}

// changes sorts the entries of a deriving edition: keys that it replaces, ids that it removes.
func changes(table string, entries protoreflect.List) (replaced map[string]bool, removed map[string]*recordv1.Void, err error) {
	replaced, removed = make(map[string]bool), make(map[string]*recordv1.Void)
	for i := range entries.Len() {
		entry := entries.Get(i).Message()
		value := valueOf(entry)
		switch {
		case isRemoved(entry):
			removed[idOf(entry)], _ = entry.Get(entry.Descriptor().Fields().ByName("removed")).Message().Interface().(*recordv1.Void)
		case !value.IsValid():
			return nil, nil, &EntryError{table, fmt.Sprintf("[%d]", i), "neither has a value nor removes an entry"}
		case replaced[keyOf(value)]:
			return nil, nil, &EntryError{table, keyOf(value), "must occur only once"}
		default:
			replaced[keyOf(value)] = true
		}
	}
	return replaced, removed, nil
}

func isRemoved(entry protoreflect.Message) bool {
	return entry.Has(entry.Descriptor().Fields().ByName("removed"))
}

func idOf(entry protoreflect.Message) string {
	return entry.Get(entry.Descriptor().Fields().ByName("id")).String()
}

// seal checks the invariant and reckons the hash.
func seal(m *formularyv1.FormularyEdition) (*Edition, error) {
	e := &Edition{message: m}
	var err error
	e.eachList(func(table string, entries protoreflect.List) {
		seen := make(map[string]bool, entries.Len())
		for i := range entries.Len() {
			key := keyOf(valueOf(entries.Get(i).Message()))
			if key == "" && err == nil {
				err = &EntryError{table, fmt.Sprintf("[%d]", i), "has no code or name"}
			}
			if seen[key] && err == nil {
				err = &EntryError{table, key, "must occur only once"}
			}
			seen[key] = true
		}
	})
	if err != nil {
		return nil, err
	}
	e.hash = hashOf(e.Lines())
	return e, nil
}

// ID is the edition's record; empty for the built-in one.
func (e *Edition) ID() string { return e.message.GetId() }

// Version is the edition's version.
func (e *Edition) Version() string { return e.message.GetVersion() }

// Hash is SHA-256 over Lines, in hexadecimal.
func (e *Edition) Hash() string { return hex.EncodeToString(e.hash[:]) }

// Sum is SHA-256 over Lines, as a publication of the edition holds it.
func (e *Edition) Sum() [sha256.Size]byte { return e.hash }

// Withdrawn reports whether the edition is not to be used any more.
func (e *Edition) Withdrawn() bool { return e.message.GetWithdrawn() != nil }

// Message is the whole edition as a record holds it, with what it derives from laid in. It is a copy.
func (e *Edition) Message() *formularyv1.FormularyEdition { return proto.CloneOf(e.message) }
