package chart_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

const (
	givingID = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a011"
	prepID   = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a021"
	vialText = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a022"
	clinicA  = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a031"
	clinicB  = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a032"
)

func elementID(n int) string { return fmt.Sprintf("0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1%04x", 0xb000+n) }

func given(product string, milliunits int32) *chartv1.GivenDose {
	return &chartv1.GivenDose{Dose: &chartv1.Dose{Product: product, DoseMilliunits: milliunits}, VolumeNanoliters: proto.Int64(int64(milliunits) * 25)}
}

func (d *desk) void() *recordv1.Void {
	return &recordv1.Void{Reason: "typed twice", By: patientID, At: timestamppb.New(d.at)}
}

func (d *desk) done() *recordv1.Act { return &recordv1.Act{By: patientID, At: timestamppb.New(d.at)} }

// injection is a session with one injection on the right side and what was given.
func injection(givings ...*chartv1.Giving) *chartv1.Session {
	return &chartv1.Session{Injections: []*chartv1.Injection{{
		Id: otherID, Muscle: proto.String("mentalis"), Side: chartv1.Side_SIDE_RIGHT.Enum(), Givings: givings,
	}}}
}

func TestFoldSession(t *testing.T) {
	const ona, abo = "onabotulinumtoxinA", "abobotulinumtoxinA"
	d := newDesk(t)
	base := d.put(record.NewState(sessionKey()), 'a', sessionRecord(injection(
		&chartv1.Giving{Id: elementID(1), Given: given(ona, 4000)},
		&chartv1.Giving{Id: elementID(2), Given: given(ona, 1500), Side: chartv1.Side_SIDE_LEFT.Enum()},
	)))
	change := func(st *record.State, replica byte, g *chartv1.Giving, mask string) *record.State {
		return d.put(st, replica, sessionRecord(injection(g)), "injections["+otherID+"].givings["+g.GetId()+"]."+mask)
	}
	right := chart.Target{Product: ona, Muscle: "mentalis", Side: chartv1.Side_SIDE_RIGHT}
	left := chart.Target{Product: ona, Muscle: "mentalis", Side: chartv1.Side_SIDE_LEFT}
	for name, c := range map[string]struct {
		st               *record.State
		all, right, left chart.Range
	}{
		"as charted": {base, chart.Range{Least: 5500, Most: 5500}, chart.Range{Least: 4000, Most: 4000}, chart.Range{Least: 1500, Most: 1500}},
		"one voided": {change(base, 'a', &chartv1.Giving{Id: elementID(1), Void: d.void()}, "void"),
			chart.Range{Least: 1500, Most: 1500}, chart.Range{}, chart.Range{Least: 1500, Most: 1500}},
		"the injection voided, what was given stays": {d.put(base, 'a', sessionRecord(&chartv1.Session{Injections: []*chartv1.Injection{{
			Id: otherID, Void: d.void()}}}), "injections["+otherID+"].void"),
			chart.Range{Least: 5500, Most: 5500}, chart.Range{Least: 4000, Most: 4000}, chart.Range{Least: 1500, Most: 1500}},
		"the session voided": {d.put(base, 'a', sessionRecord(&chartv1.Session{Void: d.void()}), "void"), chart.Range{}, chart.Range{}, chart.Range{}},
		"two doses": {record.Join(change(base, 'a', &chartv1.Giving{Id: elementID(1), Given: given(ona, 3000)}, "given"),
			change(base, 'b', &chartv1.Giving{Id: elementID(1), Given: given(ona, 5000)}, "given")),
			chart.Range{Least: 4500, Most: 6500}, chart.Range{Least: 3000, Most: 5000}, chart.Range{Least: 1500, Most: 1500}},
		"two products": {record.Join(change(base, 'a', &chartv1.Giving{Id: elementID(1), Given: given(ona, 3000)}, "given"),
			change(base, 'b', &chartv1.Giving{Id: elementID(1), Given: given(abo, 9000)}, "given")),
			chart.Range{Least: 1500, Most: 4500}, chart.Range{Least: 0, Most: 3000}, chart.Range{Least: 1500, Most: 1500}},
		"two sides": {record.Join(change(base, 'a', &chartv1.Giving{Id: elementID(1), Side: chartv1.Side_SIDE_LEFT.Enum()}, "side"),
			change(base, 'b', &chartv1.Giving{Id: elementID(1), Side: chartv1.Side_SIDE_RIGHT.Enum()}, "side")),
			chart.Range{Least: 5500, Most: 5500}, chart.Range{Least: 0, Most: 4000}, chart.Range{Least: 1500, Most: 5500}},
		"void in conflict": {record.Join(change(base, 'a', &chartv1.Giving{Id: elementID(1), Void: d.void()}, "void"),
			change(base, 'b', &chartv1.Giving{Id: elementID(1)}, "void")),
			chart.Range{Least: 1500, Most: 5500}, chart.Range{Least: 0, Most: 4000}, chart.Range{Least: 1500, Most: 1500}},
		"a spill measured": {change(base, 'a', &chartv1.Giving{Id: elementID(1), Spill: &chartv1.Spill{
			LostNanoliters: proto.Int64(25_000), Seen: d.done()}}, "spill"),
			chart.Range{Least: 4500, Most: 5500}, chart.Range{Least: 3000, Most: 4000}, chart.Range{Least: 1500, Most: 1500}},
		"a spill of unknown size": {change(base, 'a', &chartv1.Giving{Id: elementID(1), Spill: &chartv1.Spill{Seen: d.done()}}, "spill"),
			chart.Range{Least: 1500, Most: 5500}, chart.Range{Least: 0, Most: 4000}, chart.Range{Least: 1500, Most: 1500}},
	} {
		g := chart.FoldSession(c.st, nil)
		if g.Of(ona) != c.all || g.To(right) != c.right || g.To(left) != c.left {
			t.Errorf("%s: %v in all, %v right, %v left; want %v, %v, %v", name, g.Of(ona), g.To(right), g.To(left), c.all, c.right, c.left)
		}
	}
}

func TestFoldSession_CountsHeldEdits(t *testing.T) {
	d := newDesk(t)
	c, err := d.chart.Edit(&chartv1.EditRecordRequest{Record: sessionRecord(injection(&chartv1.Giving{Id: givingID, Given: given("onabotulinumtoxinA", 1000)}))})
	if err != nil {
		t.Fatal(err)
	}
	h := wire.Held{Edit: d.makeEdit('a', c), Status: syncv1.HeldStatus_HELD_STATUS_HELD}
	judged := h
	judged.Status = syncv1.HeldStatus_HELD_STATUS_GIVEN_UP
	g := chart.FoldSession(record.NewState(sessionKey()), []wire.Held{h, judged})
	if g.Held != 1 || g.Of("onabotulinumtoxinA") != (chart.Range{}) {
		t.Errorf("%d held, %v given", g.Held, g.Of("onabotulinumtoxinA"))
	}
}

// TestLaw_SumsAreTheExtremesOfAllSettlings holds the ranges against the slow and obvious: settle every conflict in every way and add up.
func TestLaw_SumsAreTheExtremesOfAllSettlings(t *testing.T) {
	d := newDesk(t)
	products := []string{"onabotulinumtoxinA", "abobotulinumtoxinA"}
	rapid.Check(t, func(rt *rapid.T) {
		type option struct {
			product string
			dose    int32
			void    bool
		}
		state := record.NewState(sessionKey())
		var all [][]option
		for n := range rapid.IntRange(1, 3).Draw(rt, "givings") {
			var options []option
			var doses []option
			voids := []bool{false}
			joined := record.NewState(sessionKey())
			for i := range rapid.IntRange(1, 3).Draw(rt, "doses") {
				o := option{product: rapid.SampledFrom(products).Draw(rt, "product"), dose: int32(rapid.IntRange(1, 9).Draw(rt, "dose")) * 1000}
				doses = append(doses, o)
				one := sessionRecord(injection(&chartv1.Giving{Id: elementID(n), Given: given(o.product, o.dose)}))
				joined = record.Join(joined, d.put(record.NewState(sessionKey()), byte(10*n+i+1), one))
			}
			if rapid.Bool().Draw(rt, "void in conflict") {
				voids = []bool{false, true}
				path := "injections[" + otherID + "].givings[" + elementID(n) + "].void"
				yes := sessionRecord(injection(&chartv1.Giving{Id: elementID(n), Void: d.void()}))
				no := sessionRecord(injection(&chartv1.Giving{Id: elementID(n)}))
				joined = record.Join(joined, record.Join(d.put(record.NewState(sessionKey()), byte(10*n+8), yes, path), d.put(record.NewState(sessionKey()), byte(10*n+9), no, path)))
			}
			for _, o := range doses {
				for _, void := range voids {
					options = append(options, option{o.product, o.dose, void})
				}
			}
			all = append(all, options)
			state = record.Join(state, joined)
		}
		want := chart.Range{Least: -1}
		var settle func(i int, sum int64)
		settle = func(i int, sum int64) {
			if i == len(all) {
				if want.Least < 0 || sum < want.Least {
					want.Least = sum
				}
				want.Most = max(want.Most, sum)
				return
			}
			for _, o := range all[i] {
				if o.product == products[0] && !o.void {
					settle(i+1, sum+int64(o.dose))
				} else {
					settle(i+1, sum)
				}
			}
		}
		settle(0, 0)
		if got := chart.FoldSession(state, nil).Of(products[0]); got != want {
			rt.Fatalf("%v given, want %v of %v", got, want, all)
		}
	})
}

func vialRecord(v *chartv1.Vial) *chartv1.Record {
	v.Id = vialText
	return &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: v}}
}

func vialKey() record.Key {
	id, _ := record.ParseID(vialText)
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: id}
}

func drawn(n int, nanoliters int64, milliunits int32) *chartv1.Draw {
	return &chartv1.Draw{Id: elementID(n), Amount: &chartv1.DrawAmount{
		SessionId: sessionID, PreparationId: proto.String(prepID), VolumeNanoliters: nanoliters, DoseMilliunits: milliunits}}
}

// mixed is a vial of 100 units in 2.5 mL.
func (d *desk) mixed() *record.State {
	return d.put(record.NewState(vialKey()), 'a', vialRecord(&chartv1.Vial{
		Presentation: &chartv1.VialPresentation{Product: "onabotulinumtoxinA", ContentMilliunits: 100_000},
		Preparations: []*chartv1.Preparation{{Id: prepID, Diluent: &chartv1.Diluent{Kind: "sodium_chloride_0_9_preservative_free", VolumeNanoliters: 2_500_000}}},
	}))
}

func TestFoldVial_TwoTabletsThatDrawFromOneVial(t *testing.T) {
	d := newDesk(t)
	base := d.mixed()
	left := d.put(base, 'a', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{drawn(1, 1_300_000, 52_000)}}))
	right := d.put(base, 'b', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{drawn(2, 1_300_000, 52_000)}}))
	for name, st := range map[string]*record.State{"one tablet": left, "the other": right} {
		if found := chart.OverdrawnFindings(chart.FoldVial(st, nil)); len(found) != 0 {
			t.Errorf("%s alone finds %v", name, found)
		}
	}
	merged := record.Join(left, right)
	l := chart.FoldVial(merged, nil)
	if l.Drawn != (chart.Range{Least: 104_000, Most: 104_000}) || len(l.Preparations) != 1 || l.Preparations[0].Drawn != (chart.Range{Least: 2_600_000, Most: 2_600_000}) {
		t.Fatalf("ledger: %+v", l)
	}
	found := chart.OverdrawnFindings(l)
	if len(found) != 1 || found[0].GetCode() != "VIAL_OVERDRAWN" || found[0].GetLevel() != formularyv1.Level_LEVEL_CAUTION ||
		found[0].GetFigures()["drawn_most_ml"] != "2.6" || found[0].GetFigures()["content_least_ml"] != "2.5" {
		t.Fatalf("findings: %v", found)
	}
	voided := d.put(merged, 'a', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{{Id: elementID(2), Void: d.void()}}}), "draws["+elementID(2)+"].void")
	if found := chart.OverdrawnFindings(chart.FoldVial(voided, nil)); len(found) != 0 {
		t.Errorf("after one was voided: %v", found)
	}
	undecided := record.Join(voided, d.put(merged, 'b', vialRecord(&chartv1.Vial{}), "draws["+elementID(2)+"].void"))
	l = chart.FoldVial(undecided, nil)
	if l.Preparations[0].Drawn != (chart.Range{Least: 1_300_000, Most: 2_600_000}) {
		t.Errorf("drawn while a void is in conflict: %v", l.Preparations[0].Drawn)
	}
	if again := chart.OverdrawnFindings(l); len(again) != 1 || again[0].GetFindingId() != found[0].GetFindingId() {
		t.Errorf("the worse end finds %v, want the same finding as before", again)
	}
}

func TestFoldVial_ADrawOfUnknownPreparation(t *testing.T) {
	d := newDesk(t)
	base := d.mixed()
	one := d.put(base, 'a', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{drawn(1, 400_000, 16_000)}}))
	other := drawn(1, 500_000, 20_000)
	other.Amount.PreparationId = nil
	l := chart.FoldVial(record.Join(one, d.put(base, 'b', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{other}}))), nil)
	want := []chart.PreparationLedger{
		{Drawn: chart.Range{Least: 0, Most: 500_000}, Draws: 1},
		{ID: recordID(t, prepID), Known: true, Content: chart.Range{Least: 2_500_000, Most: 2_500_000}, Drawn: chart.Range{Least: 0, Most: 400_000}, Draws: 1},
	}
	if diff := cmp.Diff(want, l.Preparations); diff != "" {
		t.Error(diff)
	}
	if l.Drawn != (chart.Range{Least: 16_000, Most: 20_000}) {
		t.Errorf("drawn %v", l.Drawn)
	}
}

func recordID(t *testing.T, text string) record.ID {
	t.Helper()
	id, err := record.ParseID(text)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func TestOverdrawn_SeveralRecordsOfOneVial(t *testing.T) {
	d := newDesk(t)
	half := d.put(d.mixed(), 'a', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{drawn(1, 1_250_000, 50_000)}}))
	more := d.put(d.mixed(), 'a', vialRecord(&chartv1.Vial{Draws: []*chartv1.Draw{drawn(1, 1_300_000, 52_000)}}))
	if found := chart.OverdrawnFindings(chart.FoldVial(half, nil), chart.FoldVial(half, nil)); len(found) != 0 {
		t.Errorf("two halves find %v", found)
	}
	found := chart.OverdrawnFindings(chart.FoldVial(half, nil), chart.FoldVial(more, nil))
	if len(found) != 1 || found[0].GetFigures()["drawn_most_units"] != "102" || found[0].GetFigures()["content_least_units"] != "100" {
		t.Errorf("more than there was finds %v", found)
	}
}

// treatment is a session of one product on a day at a clinic.
func (d *desk) treatment(n int, clinic string, day time.Time, kind chartv1.SessionKind) *record.State {
	key := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: recordID(d.TB.(*testing.T), elementID(n))}
	s := injection(&chartv1.Giving{Id: givingID, Given: given("onabotulinumtoxinA", 4000)})
	s.Id, s.ClinicId, s.Kind = key.ID.String(), proto.String(clinic), kind.Enum()
	s.On = &recordv1.Date{Year: int32(day.Year()), Month: int32(day.Month()), Day: int32(day.Day())}
	return d.put(record.NewState(key), 'a', &chartv1.Record{Kind: &chartv1.Record_Session{Session: s}})
}

func TestIntervalFindings(t *testing.T) {
	d := newDesk(t)
	// The figure is made up for the test; the product has none built in.
	rule := chart.IntervalRule{Product: "onabotulinumtoxinA", Days: 30, Level: formularyv1.Level_LEVEL_HOLD, Source: &dosev1.Citation{Remark: "made up"}}
	first := time.Date(2026, 2, 20, 0, 0, 0, 0, time.UTC)
	const treat, touchUp = chartv1.SessionKind_SESSION_KIND_TREATMENT, chartv1.SessionKind_SESSION_KIND_TOUCH_UP
	for name, c := range map[string]struct {
		clinic string
		after  int
		kind   chartv1.SessionKind
		want   string // the days between; nothing for no finding
	}{
		"one day short, over the end of February": {clinicB, 29, treat, "29"},
		"on the day":          {clinicB, 30, treat, ""},
		"at the same clinic":  {clinicA, 5, treat, ""},
		"a touch-up":          {clinicB, 5, touchUp, ""},
		"the same day":        {clinicB, 0, treat, "0"},
		"earlier, not later":  {clinicB, -10, treat, "10"},
		"long before, no sum": {clinicB, -300, treat, ""},
	} {
		found := chart.IntervalFindings([]chart.Treatment{
			chart.FoldTreatment(d.treatment(1, clinicA, first, treat)), chart.FoldTreatment(d.treatment(2, c.clinic, first.AddDate(0, 0, c.after), c.kind)),
		}, rule)
		got := ""
		if len(found) == 1 {
			got = found[0].GetFigures()["between_days"]
			if found[0].GetLevel() != rule.Level || found[0].GetSource().GetRemark() != "made up" || found[0].GetFigures()["least_days"] != "30" {
				t.Errorf("%s: %v", name, found[0])
			}
		}
		if got != c.want || len(found) > 1 {
			t.Errorf("%s: %v, want %q days", name, found, c.want)
		}
	}
	other := rule
	other.Product = "abobotulinumtoxinA"
	both := []chart.Treatment{
		chart.FoldTreatment(d.treatment(1, clinicA, first, treat)), chart.FoldTreatment(d.treatment(2, clinicB, first, treat)),
	}
	if found := chart.IntervalFindings(both, other); len(found) != 0 {
		t.Errorf("a rule of another product finds %v", found)
	}
	ids := []string{chart.IntervalFindings(both, rule)[0].GetFindingId()}
	slices.Reverse(both)
	if ids = append(ids, chart.IntervalFindings(both, rule)[0].GetFindingId()); ids[0] != ids[1] {
		t.Error("the order of the sessions changes the finding's id")
	}
}

// patient is a patient's record with a name and a date of birth.
func (d *desk) patient(n int, name string, year int32, links ...int) chart.Identity {
	p := &chartv1.Patient{Id: elementID(n), Name: &recordv1.PersonName{Full: name}, Birth: &chartv1.BirthDate{
		Date: &recordv1.Date{Year: year, Month: 4, Day: 2}, Proof: chartv1.BirthProof_BIRTH_PROOF_STATED, Checked: d.done()}}
	for i, to := range links {
		p.Links = append(p.Links, &chartv1.PatientLink{Id: elementID(100 + i), Claim: &chartv1.LinkClaim{PatientId: elementID(to), Grounds: "known", Made: d.done()}})
	}
	key := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: recordID(d.TB.(*testing.T), p.GetId())}
	return chart.FoldIdentity(d.put(record.NewState(key), 'a', &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: p}}))
}

func TestTwiceFindings(t *testing.T) {
	d := newDesk(t)
	for name, c := range map[string]struct {
		one, two chart.Identity
		want     int
	}{
		"the same":           {d.patient(1, "Élodie Øster", 1980), d.patient(2, "Élodie Øster", 1980), 1},
		"without diacritics": {d.patient(1, "Élodie Øster", 1980), d.patient(2, "OSTER, Elodie", 1980), 1},
		"Greek":              {d.patient(1, "Νίκος Παππάς", 1980), d.patient(2, "ΠΑΠΠΑΣ ΝΙΚΟΣ", 1980), 1},
		"another year":       {d.patient(1, "Élodie Øster", 1980), d.patient(2, "Élodie Øster", 1981), 0},
		"another name":       {d.patient(1, "Élodie Øster", 1980), d.patient(2, "Elodie Osterman", 1980), 0},
		"linked":             {d.patient(1, "Élodie Øster", 1980, 2), d.patient(2, "Élodie Øster", 1980), 0},
		"linked to a third":  {d.patient(1, "Élodie Øster", 1980, 3), d.patient(2, "Élodie Øster", 1980), 1},
	} {
		found := chart.TwiceFindings([]chart.Identity{c.one, c.two})
		if len(found) != c.want || c.want == 1 && (len(found[0].GetAbout()) != 2 || found[0].GetLevel() != formularyv1.Level_LEVEL_NOTE) {
			t.Errorf("%s: %v", name, found)
		}
	}
}

func TestTokens(t *testing.T) {
	for text, want := range map[string][]string{
		"Ana-Sofía  O’Brien": {"ana", "obrien", "sofia"},
		"Łukasz Żółć":        {"lukasz", "zolc"},
		"Straße, Großmann":   {"grossmann", "strasse"},
		"Óscar óscar":        {"oscar"},
		"Ιωάννης":            {"ιωαννησ"},
		"山田 太郎":              {"太郎", "山田"},
		" .,- ":              nil,
		"ﬁona":               {"fiona"},
	} {
		if got := chart.Tokens(text); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
