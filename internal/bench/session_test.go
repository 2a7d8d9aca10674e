package bench_test

import (
	"encoding/binary"
	"math/rand/v2"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// source draws ids and values from a seed.
type source struct{ *rand.Rand }

func newSource(seed uint64) *source { return &source{rand.New(rand.NewPCG(seed, 1))} }

func (s *source) id() record.ID {
	b := binary.BigEndian.AppendUint64(nil, s.Uint64()|1<<63)
	return record.ID(binary.BigEndian.AppendUint64(b, s.Uint64()|1))
}

func act(by record.ID, at int64) *recordv1.Act {
	return &recordv1.Act{By: by.String(), At: &timestamppb.Timestamp{Seconds: at}}
}

// session is a signed-off lower-face visit of the size that the figures are stated for: about 2 KB as protobuf, 3.4 KB as JSON.
func (s *source) session(staff record.ID, clinic string) (record.Key, *chartv1.Session) {
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: s.id()}
	at := int64(1_790_000_000) + s.Int64N(1<<20)
	m := &chartv1.Session{
		PatientId: proto.String(s.id().String()), ClinicId: proto.String(clinic), Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(),
		On: &recordv1.Date{Year: 2026, Month: int32(1 + s.IntN(12)), Day: int32(1 + s.IntN(28))}, OrderId: proto.String(s.id().String()),
		ResponsibleId: proto.String(staff.String()),
		States: []*chartv1.SessionState{
			{Id: s.id().String(), Change: &chartv1.StateChange{Step: chartv1.SessionStep_SESSION_STEP_OPEN, Moved: act(staff, at)}},
			{Id: s.id().String(), Change: &chartv1.StateChange{Step: chartv1.SessionStep_SESSION_STEP_FINISHED, Moved: act(staff, at+1500)}},
		},
		Notes: []*recordv1.Note{{Id: s.id().String(), Text: proto.String("Skin clean, no infection. Corners rest level; asked to smile and to show the lower teeth."), Written: act(staff, at)}},
	}
	for _, muscle := range []string{"depressor_anguli_oris", "mentalis", "orbicularis_oris"} {
		for _, side := range []chartv1.Side{chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT} {
			m.Injections = append(m.Injections, s.injection(staff, muscle, side, at))
		}
	}
	for _, side := range []chartv1.Side{chartv1.Side_SIDE_RIGHT, chartv1.Side_SIDE_LEFT} {
		m.Ratings = append(m.Ratings, &chartv1.Rating{Id: s.id().String(), Grade: &chartv1.Grade{
			Scale: "plain_words", Version: "1", Direction: formularyv1.ScaleDirection_SCALE_DIRECTION_WORSE, Region: "mouth_corner", Side: side.Enum(),
			Contraction: chartv1.Contraction_CONTRACTION_AT_REST, Grade: int32(s.IntN(4)), Rated: act(staff, at),
		}})
	}
	return k, m
}

func (s *source) injection(staff record.ID, muscle string, side chartv1.Side, at int64) *chartv1.Injection {
	dose := &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: int32(1000 + 500*s.IntN(5))}
	return &chartv1.Injection{
		Id: s.id().String(), Muscle: proto.String(muscle), Side: side.Enum(), Planned: dose,
		Place: &chartv1.Place{Frame: "mouth", XMicrometers: int32(s.IntN(30000)), YMicrometers: int32(s.IntN(10000))},
		Depth: &chartv1.Depth{Layer: chartv1.DepthLayer_DEPTH_LAYER_INTRAMUSCULAR},
		Givings: []*chartv1.Giving{{
			Id: s.id().String(), Given: &chartv1.GivenDose{Dose: dose, VolumeNanoliters: proto.Int64(100_000)}, Done: act(staff, at+600),
		}},
	}
}

func TestSession_Size(t *testing.T) {
	_, m := newSource(1).session(record.ID{7, 1}, record.ID{7, 2}.String())
	b, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	j, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes of protobuf, %d of JSON", len(b), len(j))
	if len(b) < 1500 || len(b) > 3000 {
		t.Errorf("a session of %d bytes is not the size that the figures are stated for", len(b))
	}
}

func mustMarshal(tb testing.TB, m proto.Message) []byte {
	tb.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}
