package record_test

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// TestCheck_TakesEveryDayOfTheCalendarAndNoOther goes through every year that a Date may have, and holds the core against the calendar of package time.
func TestCheck_TakesEveryDayOfTheCalendarAndNoOther(t *testing.T) {
	s := recordsSchema(t)
	for year := int32(1850); year <= 2200; year++ {
		for month := int32(1); month <= 12; month++ {
			for day := int32(28); day <= 31; day++ {
				there := time.Date(int(year), time.Month(month), int(day), 0, 0, 0, 0, time.UTC).Day() == int(day)
				refusal := s.Check(sessionOn(t, s, year, month, day), record.FromDevice)
				if (refusal == nil) != there {
					t.Errorf("%d-%d-%d: %v", year, month, day, refusal)
				}
				if refusal != nil && (refusal.Reason != faultv1.Reason_REASON_INVALID_FIELD || refusal.Field != "on" || refusal.Read != "") {
					t.Fatalf("%d-%d-%d: %v", year, month, day, refusal)
				}
			}
		}
	}
}

func sessionOn(t testing.TB, s *record.Schema, year, month, day int32) *record.Edit {
	return editOf(t, s, &chartv1.Session{On: &recordv1.Date{Year: year, Month: month, Day: day}})
}

func editOf(t testing.TB, s *record.Schema, m *chartv1.Session) *record.Edit {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: record.ID{1}}
	writes, err := s.Split(k.Kind, b)
	if err != nil {
		t.Fatal(err)
	}
	return &record.Edit{Key: k, Writes: writes}
}

// TestTwin_TheCoreTakesTheTimesThatTimestampTakes draws seconds and nanoseconds about their bounds, inside an element.
func TestTwin_TheCoreTakesTheTimesThatTimestampTakes(t *testing.T) {
	s := recordsSchema(t)
	rapid.Check(t, func(rt *rapid.T) {
		about := func(label string, at ...int64) int64 {
			return rapid.SampledFrom(at).Draw(rt, label) + rapid.Int64Range(-2, 2).Draw(rt, label+" off")
		}
		at := &timestamppb.Timestamp{
			Seconds: about("seconds", 0, -62135596800, 253402300799, 1_800_000_000, -1<<62, 1<<62), Nanos: int32(about("nanos", 0, 999_999_999, -1_000_000_000)),
		}
		refusal := s.Check(editOf(t, s, &chartv1.Session{Notes: []*recordv1.Note{{Id: record.ID{2}.String(), Written: &recordv1.Act{By: record.ID{3}.String(), At: at}}}}), record.FromDevice)
		if valid := at.CheckValid() == nil; valid != (refusal == nil) {
			rt.Fatalf("%v: %v", at, refusal)
		}
		if want := "notes[" + (record.ID{2}).String() + "].written.at"; refusal != nil && refusal.Field != want {
			rt.Fatalf("%v: field %s, want %s", at, refusal.Field, want)
		}
	})
}

// BenchmarkCheck checks a visit with ten injections, as it comes from a tablet.
func BenchmarkCheck(b *testing.B) {
	s := recordsSchema(b)
	act := &recordv1.Act{By: record.ID{3}.String(), At: &timestamppb.Timestamp{Seconds: 1_790_000_000}}
	m := &chartv1.Session{
		PatientId: proto.String(record.ID{4}.String()), ClinicId: proto.String(record.ID{5}.String()), On: &recordv1.Date{Year: 2026, Month: 2, Day: 28},
		Notes: []*recordv1.Note{{Id: record.ID{6}.String(), Text: proto.String("Skin clean, no infection. Corners rest level."), Written: act}},
	}
	for i := range byte(10) {
		dose := &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 2500}
		m.Injections = append(m.Injections, &chartv1.Injection{
			Id: record.ID{7, i}.String(), Muscle: proto.String("mentalis"), Side: chartv1.Side_SIDE_LEFT.Enum(), Planned: dose,
			Givings: []*chartv1.Giving{{Id: record.ID{8, i}.String(), Given: &chartv1.GivenDose{Dose: dose}, Done: act}},
		})
	}
	e := editOf(b, s, m)
	for b.Loop() {
		if refusal := s.Check(e, record.FromDevice); refusal != nil {
			b.Fatal(fmt.Sprint(refusal))
		}
	}
}
