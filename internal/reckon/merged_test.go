package reckon_test

import (
	"encoding/binary"
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
	"needlebook/internal/record"
	"needlebook/internal/schema"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

const (
	mergedSession   = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001"
	mergedInjection = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a003"
)

// replicas chart on one session, each from what it saw.
type replicas struct {
	chart   *chart.Chart
	counter map[byte]uint64
	ids     uint64
}

func newReplicas(t testing.TB) *replicas {
	s, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	return &replicas{chart: chart.New(s, nil), counter: map[byte]uint64{}}
}

// write is the state after a replica wrote the masked fields of a session on top of what it saw.
func (r *replicas) write(t *rapid.T, seen *record.State, replica byte, s *chartv1.Session, mask ...string) *record.State {
	s.Id = mergedSession
	c, err := r.chart.Edit(&chartv1.EditRecordRequest{Record: &chartv1.Record{Kind: &chartv1.Record_Session{Session: s}}, UpdateMask: mask,
		Context: chart.WriteContext(seen.Seen)})
	if err != nil {
		t.Fatal(err)
	}
	r.ids++
	r.counter[replica]++
	e := record.Edit{ID: record.ID(binary.BigEndian.AppendUint64([]byte{0xaa, 0, 0, 0, 0, 0, 0, 0}, r.ids)),
		Dot: causal.Dot{Replica: causal.ReplicaID{0: replica}, Counter: r.counter[replica]}, Key: c.Key, Context: c.Context,
		Author: record.ID{0: 1, 15: replica}, AuthoredAt: 1_790_000_000_000, Writes: c.Writes}
	out := seen.Clone()
	out.Apply(&e)
	return out
}

// of is a session with one injection and one giving of it.
func of(g *chartv1.Giving) *chartv1.Session {
	return &chartv1.Session{Injections: []*chartv1.Injection{{Id: mergedInjection, Muscle: proto.String("mentalis"), Side: chartv1.Side_SIDE_RIGHT.Enum(),
		Givings: []*chartv1.Giving{g}}}}
}

// genMerged is what tablets made of one session apart from each other, merged: doses, sides, spills and voids may be in conflict.
func genMerged(t *rapid.T, r *replicas) *record.State {
	key := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: mustID(t, mergedSession)}
	base := r.write(t, record.NewState(key), 'z', &chartv1.Session{On: &recordv1.Date{Year: 2026, Month: 1, Day: 5}}, "on")
	merged := base
	at := &timestamppb.Timestamp{Seconds: 1_790_000_000}
	for n := range rapid.IntRange(1, 3).Draw(t, "givings") {
		id := fmt.Sprintf("0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1%04x", 0xb000+n)
		path := "injections[" + mergedInjection + "].givings[" + id + "]."
		for i := range rapid.IntRange(1, 3).Draw(t, "tablets") {
			replica := byte(10*n + i + 1)
			g := &chartv1.Giving{Id: id, Given: &chartv1.GivenDose{VolumeNanoliters: proto.Int64(100_000), Dose: &chartv1.Dose{
				Product:        rapid.SampledFrom([]string{"onabotulinumtoxinA", "abobotulinumtoxinA"}).Draw(t, "product"),
				DoseMilliunits: int32(rapid.IntRange(1, 9).Draw(t, "dose")) * 333}}}
			mine := r.write(t, base, replica, of(g))
			if rapid.Bool().Draw(t, "side") {
				side := rapid.SampledFrom([]chartv1.Side{chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT}).Draw(t, "which")
				mine = r.write(t, mine, replica, of(&chartv1.Giving{Id: id, Side: &side}), path+"side")
			}
			if rapid.IntRange(0, 2).Draw(t, "spill") == 0 {
				spill := &chartv1.Spill{Seen: &recordv1.Act{By: mergedInjection, At: at}}
				if rapid.Bool().Draw(t, "known") {
					spill.LostNanoliters = proto.Int64(int64(rapid.IntRange(0, 120_000).Draw(t, "lost")))
				}
				mine = r.write(t, mine, replica, of(&chartv1.Giving{Id: id, Spill: spill}), path+"spill")
			}
			if rapid.IntRange(0, 3).Draw(t, "void") == 0 {
				mine = r.write(t, mine, replica, of(&chartv1.Giving{Id: id, Void: &recordv1.Void{Reason: "twice", By: mergedInjection, At: at}}), path+"void")
			}
			merged = record.Join(merged, mine)
		}
	}
	return merged
}

func mustID(t *rapid.T, text string) record.ID {
	id, err := record.ParseID(text)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// What merging tablets leaves in conflict gives the same ranges here, from the messages that readers get, as the folds of internal/chart give from the state
// itself: by product, and by muscle and side.
func TestHistoryAgreesWithTheFoldsOfMergedSessions(t *testing.T) {
	r := newReplicas(t)
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	ranges := 0
	rapid.Check(t, func(t *rapid.T) {
		state := genMerged(t, r)
		view, err := r.chart.View(chart.Source{State: state})
		if err != nil {
			t.Fatal(err)
		}
		facts := &dosev1.HistoryFacts{Patient: &chartv1.Patient{Id: "p"}, Sessions: []*chartv1.Session{view.GetRecord().GetSession()}}
		for _, c := range view.GetConflicts() {
			p := &dosev1.PathSiblings{Key: c.GetKey(), Path: c.GetPath()}
			for _, s := range c.GetSiblings() {
				value := s.GetValueJson()
				if s.GetCleared() {
					value = "null"
				}
				p.ValuesJson = append(p.ValuesJson, value)
			}
			facts.Conflicts = append(facts.Conflicts, p)
		}
		h, err := reckon.GetToxinHistory(e, &dosev1.GetToxinHistoryRequest{On: &recordv1.Date{Year: 2026, Month: 6, Day: 1},
			Subject: &dosev1.GetToxinHistoryRequest_Facts{Facts: facts}})
		if err != nil {
			t.Fatal(err)
		}
		fold := chart.FoldSession(state, nil)
		same := func(what string, got *dosev1.DoseSpan, want chart.Range) {
			if got == nil {
				got = &dosev1.DoseSpan{LeastUnits: "0", MostUnits: proto.String("0")}
			}
			if got.GetLeastUnits() != milli(want.Least) || got.GetMostUnits() != milli(want.Most) {
				t.Fatalf("%s: %v here, %v by the fold; conflicts %v", what, got, want, view.GetConflicts())
			}
			if want.Least != want.Most {
				ranges++
			}
		}
		spans := map[string]*dosev1.DoseSpan{}
		for _, p := range h.GetProducts() {
			spans[p.GetProduct()] = p.GetTotal().GetGiven()
			for _, target := range p.GetTotal().GetTargets() {
				spans[fmt.Sprint(p.GetProduct(), target.GetMuscle(), target.GetSide())] = target.GetGiven()
			}
		}
		for _, target := range fold.Targets() {
			same(fmt.Sprint(target), spans[fmt.Sprint(target.Product, target.Muscle, target.Side)], fold.To(target))
		}
		for _, product := range fold.Products() {
			same(product, spans[product], fold.Of(product))
		}
	})
	if ranges < 10 { // a short run makes 20 histories, and how many of them are in doubt is drawn
		t.Errorf("only %d ranges compared", ranges)
	}
}

// milli is thousandths as a decimal.
func milli(n int64) string {
	text := fmt.Sprintf("%d.%03d", n/1000, n%1000)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		text = text[:len(text)-1]
	}
	return text
}
