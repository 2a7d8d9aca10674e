package formulary

import (
	"encoding/csv"
	"errors"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

var update = flag.Bool("update", false, "write docs/sources.md anew; read the difference before it is kept")

func builtin(t testing.TB) *Edition {
	t.Helper()
	e, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// The hash is a function of the content: it changes when a table changes, and then the version must too.
func TestBuiltinIsThisEdition(t *testing.T) {
	const hash = "92376ddb3f17363dc2c5b6eb9c7ae601ae6796cb67afdb99407b9842f6a0a887"
	e := builtin(t)
	if e.Version() != BuiltinVersion || e.ID() != "" || e.Hash() != hash {
		t.Errorf("version %s, id %q, hash %s; want hash %s: a new content needs a new BuiltinVersion", e.Version(), e.ID(), e.Hash(), hash)
	}
}

func TestSourcesDocument(t *testing.T) {
	const path = "../../docs/sources.md"
	document := builtin(t).Document()
	if *update {
		if err := os.WriteFile(path, []byte(document), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(kept) != document {
		t.Errorf("%s is not what the edition says; run go test ./internal/formulary -update and read the difference", path)
	}
}

// eachEntry visits every entry of every list but the sources.
func eachEntry(e *Edition, visit func(name string, value protoreflect.Message, p *formularyv1.Provenance)) {
	e.eachList(func(table string, entries protoreflect.List) {
		for i := range entries.Len() {
			value := valueOf(entries.Get(i).Message())
			if field := value.Descriptor().Fields().ByName("provenance"); field != nil {
				p, _ := value.Get(field).Message().Interface().(*formularyv1.Provenance)
				visit(table+"/"+keyOf(value), value, p)
			}
		}
	})
}

// Every figure says how it was come by; what was read names a publication of the edition; what is from memory or a trade page is a note at most.
func TestEveryFigureHasItsProvenance(t *testing.T) {
	e := builtin(t)
	entries, weak := 0, 0
	eachEntry(e, func(name string, value protoreflect.Message, p *formularyv1.Provenance) {
		entries++
		cites := false
		switch p.GetObtained() {
		case formularyv1.Obtained_OBTAINED_READ, formularyv1.Obtained_OBTAINED_READ_COPY, formularyv1.Obtained_OBTAINED_TRADE,
			formularyv1.Obtained_OBTAINED_COMPUTED:
			cites = true
		case formularyv1.Obtained_OBTAINED_MEMORY, formularyv1.Obtained_OBTAINED_COMMON_PRACTICE:
		default:
			t.Errorf("%s: obtained %v", name, p.GetObtained())
		}
		if cites != (len(p.GetSources()) > 0) {
			t.Errorf("%s: %v with sources %v", name, p.GetObtained(), p.GetSources())
		}
		best := formularyv1.Obtained_OBTAINED_TRADE
		for _, code := range p.GetSources() {
			s, ok := e.Source(code)
			if !ok {
				t.Errorf("%s cites %s, which is not in the edition", name, code)
			}
			best = min(best, s.GetObtained())
		}
		if cites && p.GetObtained() != formularyv1.Obtained_OBTAINED_COMPUTED && p.GetObtained() < best {
			t.Errorf("%s: %v, but the best of its sources is %v", name, p.GetObtained(), best)
		}
		if field := value.Descriptor().Fields().ByName("level"); field != nil && MostLevel(p) == formularyv1.Level_LEVEL_NOTE {
			weak++
			if level := formularyv1.Level(value.Get(field).Enum()); level != formularyv1.Level_LEVEL_NOTE {
				t.Errorf("%s: %v on a figure that is %v", name, level, p.GetObtained())
			}
		}
	})
	if entries < 200 || weak < 5 {
		t.Errorf("%d entries, %d of them weak with a level: the test looked at too little", entries, weak)
	}
}

// The table of testdata/dose, whose rows name their sources, has the same dilutions with the same printed statements, row for row.
func TestDilutionsAreThoseOfTheTable(t *testing.T) {
	e := builtin(t)
	file, err := os.Open("../../testdata/dose/dilution.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(line []string, name string) string { return line[slices.Index(lines[0], name)] }
	milli := func(line []string, name string, decimals int) int64 {
		n, err := scaled(column(line, name), decimals, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	compared := 0
	for _, line := range lines[1:] {
		if !strings.HasSuffix(column(line, "product"), "A") {
			continue // another serotype, or no product
		}
		mix := Mix{Product: column(line, "product"), ContentMilliunits: milli(line, "vial_units", 3), DiluentNanoliters: milli(line, "diluent_mL", 6)}
		if strings.HasPrefix(column(line, "context"), "ready-to-use") {
			mix.DiluentNanoliters, mix.LiquidNanoliters = 0, mix.DiluentNanoliters
		}
		found := slices.ContainsFunc(e.Dilutions(mix), func(d *formularyv1.Dilution) bool {
			memory := column(line, "provenance") == "from memory"
			return d.GetMarket() == column(line, "region") &&
				int64(d.GetPrinted().GetDoseMilliunits()) == milli(line, "labelled_units", 3) &&
				d.GetPrinted().GetVolumeNanoliters() == milli(line, "labelled_per_mL_volume", 6) &&
				(memory == (d.GetProvenance().GetObtained() == formularyv1.Obtained_OBTAINED_MEMORY) || column(line, "id") == "D022")
		})
		if !found {
			t.Errorf("%s: no such dilution", column(line, "id"))
		}
		compared++
	}
	if compared != 62 || len(e.message.GetDilutions()) != compared {
		t.Errorf("%d rows compared, the edition has %d", compared, len(e.message.GetDilutions()))
	}
}

func TestDerive(t *testing.T) {
	base := builtin(t)
	five := int32(50)
	derived := &formularyv1.FormularyEdition{Id: "1e4c7a52-0000-4000-8000-000000000001", Version: proto.String("clinic-1")}
	derived.Tolerances = []*formularyv1.ToleranceEntry{{Id: "t", Value: &formularyv1.Tolerance{Code: "whole_face", InjectionPermille: &five}}}
	syringe, _ := base.Syringe("general_1_by_0_01")
	changed := proto.CloneOf(syringe)
	changed.Label = "the clinic's own"
	derived.Syringes = []*formularyv1.SyringeEntry{
		{Id: "s", Value: changed},
		{Id: builtinID("syringes", "insulin_u100_1_by_0_02"), Removed: &recordv1.Void{}},
	}
	before, beforeBase := proto.CloneOf(derived), base.Hash()
	e, err := Derive(base, derived)
	if err != nil {
		t.Fatal(err)
	}
	if s, _ := e.Syringe("general_1_by_0_01"); s.GetLabel() != "the clinic's own" {
		t.Errorf("replaced syringe is %v", s)
	}
	if _, ok := e.Syringe("insulin_u100_1_by_0_02"); ok {
		t.Error("removed syringe is still there")
	}
	if _, ok := e.Tolerance("mentalis"); !ok {
		t.Error("added tolerance is not found")
	}
	if len(e.Syringes()) != len(base.Syringes())-1 || len(e.Products()) != len(base.Products()) {
		t.Errorf("%d syringes, %d products", len(e.Syringes()), len(e.Products()))
	}
	if !proto.Equal(before, derived) || base.Hash() != beforeBase || e.Hash() == base.Hash() {
		t.Error("an argument was changed, or the hash was not")
	}
	derived.Tolerances = append(derived.Tolerances, &formularyv1.ToleranceEntry{Id: "u", Value: &formularyv1.Tolerance{Code: "whole_face"}})
	if _, err := Derive(base, derived); err == nil {
		t.Error("a code that occurs twice was taken")
	}
	if _, err := Derive(base, &formularyv1.FormularyEdition{Zones: []*formularyv1.ZoneEntry{{Id: "z"}}}); err == nil {
		t.Error("an entry that neither is nor removes was taken")
	}
}

// An edition that names its base or its own hash is not laid over another, nor taken with another content.
func TestDeriveHoldsHashes(t *testing.T) {
	base := builtin(t)
	sum := base.Sum()
	right, wrong := sum[:], make([]byte, len(sum))
	for _, c := range []struct {
		derived *formularyv1.FormularyEdition
		ok      bool
	}{
		{&formularyv1.FormularyEdition{Base: &formularyv1.EditionReference{Version: BuiltinVersion, Hash: right}}, true},
		{&formularyv1.FormularyEdition{Base: &formularyv1.EditionReference{Version: BuiltinVersion, Hash: wrong}}, false},
		{&formularyv1.FormularyEdition{Published: &formularyv1.Publication{Hash: right}}, true},
		{&formularyv1.FormularyEdition{Published: &formularyv1.Publication{Hash: wrong}}, false},
	} {
		e, err := Derive(base, c.derived)
		var entry *EntryError
		if (err == nil) != c.ok || (!c.ok && !errors.As(err, &entry)) || (c.ok && e.Hash() != base.Hash()) {
			t.Errorf("%v: %v", c.derived, err)
		}
	}
}

// The hash does not depend on the order in which entries stand, and changes with any of them.
func TestHashLaws(t *testing.T) {
	base := builtin(t)
	rapid.Check(t, func(t *rapid.T) {
		m := base.Message()
		m.Zones = rapid.Permutation(m.GetZones()).Draw(t, "zones")
		m.DoseRanges = rapid.Permutation(m.GetDoseRanges()).Draw(t, "dose ranges")
		same, err := seal(m)
		if err != nil || same.Hash() != base.Hash() {
			t.Fatalf("shuffled: %v", err)
		}
		i := rapid.IntRange(0, len(m.GetDoseRanges())-1).Draw(t, "which")
		m.DoseRanges[i].Value.InjectionsAtMost = proto.Int32(77)
		other, err := seal(m)
		if err != nil || other.Hash() == base.Hash() {
			t.Fatalf("changed entry %d has the same hash: %v", i, err)
		}
	})
}

func TestHolds(t *testing.T) {
	for _, c := range []struct {
		markets, asked string
		want           bool
	}{
		{"", "US", true}, {"US", "", true}, {"US", "US", true}, {"US", "EU", false}, {"EU/UK", "UK", true}, {"EU/UK", "EU", true}, {"EU/UK", "U", false},
	} {
		if got := Holds(c.markets, c.asked); got != c.want {
			t.Errorf("Holds(%q, %q) is %v", c.markets, c.asked, got)
		}
	}
}

func TestMemoryAndTradeNeitherHoldNorClear(t *testing.T) {
	for o := range formularyv1.Obtained_name {
		p := &formularyv1.Provenance{Obtained: formularyv1.Obtained(o)}
		weak := o == 0 || p.GetObtained() == formularyv1.Obtained_OBTAINED_MEMORY || p.GetObtained() == formularyv1.Obtained_OBTAINED_TRADE
		if weak != (MostLevel(p) == formularyv1.Level_LEVEL_NOTE) || (weak && Clears(p)) {
			t.Errorf("%v: most %v, clears %v", p.GetObtained(), MostLevel(p), Clears(p))
		}
	}
	if Clears(&formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_COMMON_PRACTICE}) {
		t.Error("a habit without a source clears")
	}
}
