package formulary

import (
	"errors"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

func harbourTables() map[string][]byte {
	return map[string][]byte{
		"edition": []byte("label,version,base.version\nHarbour,harbour-1,builtin-2\n"),
		"limits": []byte("code,basis,volume_ml,level,provenance.obtained,provenance.remark\n" +
			"volume,INJECTION,0.1,HOLD,LEAD,so that it stays where it was put\n"),
		"removed": []byte("list,code,reason,by,at\nzones,lateral_canthus_policy,another clinic's,1e4c7a52-0000-4000-8000-000000000001,2026-03-01T09:30:00Z\n"),
	}
}

func TestReadTables(t *testing.T) {
	base := builtin(t)
	m, err := ReadTables(base, harbourTables())
	if err != nil {
		t.Fatal(err)
	}
	if m.GetLabel() != "Harbour" || m.GetVersion() != "harbour-1" || m.GetBase().GetVersion() != BuiltinVersion {
		t.Errorf("read %q, %q, %v", m.GetLabel(), m.GetVersion(), m.GetBase())
	}
	if !proto.Equal(FillIDs(m), m) {
		t.Error("an entry has no id")
	}
	e, err := Derive(base, &formularyv1.FormularyEdition{Version: m.Version, Limits: m.Limits, Zones: m.Zones})
	if err != nil {
		t.Fatal(err)
	}
	changes := Diff(base, e)
	set, gone := 0, 0
	for _, c := range changes {
		switch {
		case c.List == "limits" && c.Was == nil && c.Why.GetRemark() == "so that it stays where it was put":
			set++
		case c.List == "zones" && c.Is == nil && c.Removal != nil && c.Removal.Reason == "another clinic's" && c.Removal.At == "2026-03-01T09:30:00Z":
			gone++
		default:
			t.Errorf("unexpected: %v", c)
		}
	}
	if set != 6 || gone == 0 {
		t.Errorf("%d figures set, %d gone", set, gone)
	}
}

// Every cell that cannot be read is named, in every table.
func TestReadTablesNamesEveryFault(t *testing.T) {
	tables := harbourTables()
	tables["edition"] = []byte("label,colour\nHarbour,red\n")
	tables["limits"] = []byte("code,basis,volume_ml\na,SIDEWAYS,one\nb,INJECTION,two\n")
	tables["removed"] = []byte("list,code,at\nzones,none,\nmoles,a,\nzones,lateral_canthus_us,today\n")
	tables["moles"] = []byte("code\na\n")
	tables["notes"] = []byte("text\na\n")
	_, err := ReadTables(builtin(t), tables)
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		t.Fatalf("read %v", err)
	}
	found := 0
	for _, table := range joined.Unwrap() {
		inner, ok := table.(interface{ Unwrap() []error })
		if !ok {
			found++
			continue
		}
		for _, err := range inner.Unwrap() {
			var where *TableError
			if !errors.As(err, &where) || where.Table == "" {
				t.Errorf("no place: %v", err)
			}
			found++
		}
	}
	if found != 9 {
		t.Errorf("%d faults named, want 9: %v", found, err)
	}
}

// What Diff says, laid over the older content, is the newer content.
func TestDiffIsTheDifference(t *testing.T) {
	base := builtin(t)
	if changes := Diff(base, base); len(changes) != 0 {
		t.Errorf("an edition differs from itself: %v", changes)
	}
	rapid.Check(t, func(t *rapid.T) {
		m := base.Message()
		for range rapid.IntRange(0, 4).Draw(t, "changes") {
			i := rapid.IntRange(0, len(m.GetZones())-1).Draw(t, "zone")
			m.Zones[i].Value.MostMicrometers = i32(rapid.Int32Range(0, 3).Draw(t, "most"))
			m.Limits = m.Limits[:rapid.IntRange(0, len(m.GetLimits())).Draw(t, "limits")]
		}
		other, err := seal(m)
		if err != nil {
			t.Fatal(err)
		}
		text := base.figures().text
		for _, c := range Diff(base, other) {
			p := place{c.List, c.Key, c.Field}
			if was, had := text[p]; had != (c.Was != nil) || had && was != *c.Was {
				t.Fatalf("%v was %q", p, was)
			}
			delete(text, p)
			if c.Is != nil {
				text[p] = *c.Is
			}
		}
		want := other.figures().text
		if len(text) != len(want) {
			t.Fatalf("%d figures, want %d", len(text), len(want))
		}
		for p, value := range want {
			if text[p] != value {
				t.Fatalf("%v is %q, want %q", p, text[p], value)
			}
		}
	})
}

// Whatever tables say, they are read or refused, and what is read can be checked.
func FuzzReadTables(f *testing.F) {
	for table, text := range harbourTables() {
		f.Add(table, text)
	}
	zones, err := tables.ReadFile("edition/zones.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add("zones", zones)
	base := builtin(f)
	f.Fuzz(func(t *testing.T, table string, text []byte) {
		m, err := ReadTables(base, map[string][]byte{table: text})
		if err != nil {
			return
		}
		if problems := Check(base, m); !Blocking(problems) {
			if _, err := Derive(base, m); err != nil {
				t.Errorf("no problem blocks, and it derives not: %v", err)
			}
		}
	})
}
