package document

import (
	"bytes"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
)

func moment() time.Time { return time.Date(2026, 6, 1, 9, 30, 0, 0, time.UTC) }

func act(by string) *recordv1.Act { return &recordv1.Act{By: by, At: timestamppb.New(moment())} }

// sample is a visit with everything that a document must not get wrong: long names, scripts that the fonts lack, a conflict, voids, an unsigned second visit.
func sample() Input {
	ids := make([]string, 20)
	for i := range ids {
		ids[i] = uuid.NewSHA1(uuid.Nil, []byte{byte(i)}).String()
	}
	staff := &accessv1.Staff{Id: ids[0], Name: &recordv1.PersonName{Full: "Dr. Maximiliane von und zu Hohenfels-Wallersteinburg"}, Profession: proto.String("physician")}
	vial := &chartv1.Vial{Id: ids[1], Presentation: &chartv1.VialPresentation{Product: "onabotulinumtoxinA", ContentMilliunits: 100_000},
		Labelling:    &chartv1.VialLabelling{LotNumber: "C4021", ExpiresOn: &recordv1.Date{Year: 2027, Month: 1, Day: 31}},
		Preparations: []*chartv1.Preparation{{Id: ids[2], Diluent: &chartv1.Diluent{Kind: "sodium_chloride_9", VolumeNanoliters: 2_500_000}, Mixed: act(ids[0])}}}
	patient := &chartv1.Patient{Id: ids[3], Name: &recordv1.PersonName{Full: "Zoë 山田 " + strings.Repeat("Longname", 30)},
		Birth:           &chartv1.BirthDate{Date: &recordv1.Date{Year: 1980, Month: 4, Day: 2}, Proof: chartv1.BirthProof_BIRTH_PROOF_DOCUMENT},
		PriorTreatments: []*chartv1.PriorTreatment{{Id: ids[4], Report: &chartv1.PriorTreatmentReport{On: &recordv1.ApproximateDate{Year: 2025}, Place: "another town"}}}}
	visit := &chartv1.Session{Id: ids[5], PatientId: &patient.Id, On: &recordv1.Date{Year: 2026, Month: 5, Day: 3}, ResponsibleId: &staff.Id,
		Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(),
		Signatures: []*chartv1.Signature{{Id: ids[6], Statement: proto.String("I gave what is written here."),
			Content: &syncv1.SignedContent{SignerId: staff.Id, Digest: bytes.Repeat([]byte{0xab}, 32), SignedAtUnixMs: moment().UnixMilli(), Meaning: syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED}}}}
	for i := range 12 {
		side, x := chartv1.Side_SIDE_RIGHT, int32(-18_000-500*i)
		if i%2 == 1 {
			side, x = chartv1.Side_SIDE_LEFT, -x
		}
		in := &chartv1.Injection{Id: uuid.NewSHA1(uuid.Nil, []byte{1, byte(i)}).String(), Muscle: proto.String("depressor_anguli_oris"), Side: side.Enum(), Position: proto.Int32(int32(i)),
			Place: &chartv1.Place{Frame: "mouth", XMicrometers: x, YMicrometers: int32(-6000 - 1000*i)}, Planned: &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 2000},
			Givings: []*chartv1.Giving{{Id: uuid.NewSHA1(uuid.Nil, []byte{2, byte(i)}).String(), Done: act(ids[0]), Given: &chartv1.GivenDose{
				Dose: &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: 2500}, VialId: &vial.Id, PreparationId: proto.String(ids[2]),
				MarkBeforeNanoliters: proto.Int64(500_000), MarkAfterNanoliters: proto.Int64(440_000)}}}}
		visit.Injections = append(visit.Injections, in)
	}
	visit.Injections[2].Givings[0].Void = &recordv1.Void{Reason: "entered twice", By: ids[0]}
	visit.Injections[4].Givings[0].Given = nil // what is in conflict has no value
	disputed := fmt.Sprintf("injections[%s].givings[%s].given", visit.Injections[4].Id, visit.Injections[4].Givings[0].Id)
	return Input{Organisation: "Harbour Clinics", At: moment(), Patients: []string{patient.Id}, Views: []*chartv1.RecordView{
		{Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: patient}}},
		{Record: &chartv1.Record{Kind: &chartv1.Record_Session{Session: visit}}, Conflicts: []*chartv1.Conflict{{Path: disputed, Siblings: []*chartv1.Sibling{
			{ValueJson: `{"dose":{"dose_milliunits":1111}}`, Authors: []*chartv1.Authorship{{StaffName: "Ines"}}},
			{ValueJson: `{"dose":{"dose_milliunits":2222}}`, Authors: []*chartv1.Authorship{{StaffName: "Otto"}}}}}},
			LateEntries: []*chartv1.LateEntry{{SignatureId: ids[6], Authorship: &chartv1.Authorship{StaffName: "Late Lena"}, Writes: []*chartv1.PathValue{{Path: "notes", ValueJson: `"x"`}}}}},
		{Record: &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: vial}}},
		{Record: &chartv1.Record{Kind: &chartv1.Record_Staff{Staff: staff}}},
	}}
}

func TestWrite_TheSameInputGivesTheSameBytes(t *testing.T) {
	first, err := Write(sample())
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		again, err := Write(sample())
		if err != nil || !bytes.Equal(first, again) {
			t.Fatalf("%d bytes, then %d, %v", len(first), len(again), err)
		}
	}
	later := sample()
	later.At = later.At.Add(time.Hour)
	if other, err := Write(later); err != nil || bytes.Equal(first, other) {
		t.Errorf("the time of writing is not in it, %v", err)
	}
	keep(t, "sample.pdf", first)
}

// keep writes a document where DOCUMENT_DIR says, to be looked at.
func keep(t *testing.T, name string, data []byte) {
	if dir := os.Getenv("DOCUMENT_DIR"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Error(err)
		}
	}
}

// What is in conflict counts in no total, and says so; a voided giving counts in none.
func TestSums_LeaveOutWhatIsNotSettled(t *testing.T) {
	in := sample()
	b := &book{in: in}
	sums := b.sums(in.Views[1])
	right := sums[[2]string{"onabotulinumtoxinA", "right"}]
	if right == nil || right.given != 4*2500 || right.unsettled != 1 || right.planned != 6*2000 {
		t.Errorf("right: %+v", right)
	}
	if left := sums[[2]string{"onabotulinumtoxinA", "left"}]; left == nil || left.given != 6*2500 || left.unsettled != 0 {
		t.Errorf("left: %+v", left)
	}
	if text := right.givenText(); text != "10 and 1 that is "+inConflict {
		t.Errorf("read %q", text)
	}
}

// A line is never wider than its column, and nothing of a text is lost.
func TestWrap_LosesNothingAndKeepsTheWidth(t *testing.T) {
	p, err := newPaper(moment(), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	p.style("", sizeText)
	for _, text := range []string{"", "short", strings.Repeat("word ", 80), strings.Repeat("W", 400), "a " + strings.Repeat("ü", 200) + " b"} {
		var got strings.Builder
		for _, line := range p.wrap(text, 40) {
			if p.pdf.GetStringWidth(line) > 40 {
				t.Errorf("a line is %f wide", p.pdf.GetStringWidth(line))
			}
			got.WriteString(strings.ReplaceAll(line, " ", ""))
		}
		if got.String() != strings.ReplaceAll(text, " ", "") {
			t.Errorf("%q became %q", text, got.String())
		}
	}
}

func TestKnown_WritesWhatTheFontsLack(t *testing.T) {
	p, err := newPaper(moment(), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"Zoë Müller Ωμέγα Иван": "Zoë Müller Ωμέγα Иван", "山": "U+5C71 ", "a\u202eb": "aU+202E b", "😀": "U+1F600 ", "e\u0301": "é", "x\x00": "xU+0000 ",
	} {
		if got := p.known(text); got != want {
			t.Errorf("%q: read %q, want %q", text, got, want)
		}
	}
}

func TestRounded_HalfToEven(t *testing.T) {
	for _, row := range []struct {
		n, d   int64
		places int
		want   string
	}{{1, 2, 0, "0"}, {3, 2, 0, "2"}, {5, 2, 0, "2"}, {-5, 2, 0, "-2"}, {7, 120, 4, "0.0583"}, {-1, 3, 4, "-0.3333"}, {2, 1, 4, "2"}} {
		if got := rounded(big.NewRat(row.n, row.d), row.places); got != row.want {
			t.Errorf("%d/%d: read %s, want %s", row.n, row.d, got, row.want)
		}
	}
}

// The error is what left the syringe less the dose: 0.06 mL of 100 units in 2.5 mL is 2.4 units, of 2.5 recorded.
func TestErrorText_IsMarksAgainstTheDose(t *testing.T) {
	in := sample()
	b := &book{in: in, vials: map[string]*chartv1.Vial{}}
	vial := in.Views[2].GetRecord().GetVial()
	b.vials[vial.GetId()] = vial
	if got := b.errorText(in.Views[1].GetRecord().GetSession().GetInjections()[0].GetGivings()[0].GetGiven()); got != "-0.1 units\n-4 %" {
		t.Errorf("read %q", got)
	}
}

// Sides of the drawing: the patient's right has negative x, and a mouth measured wider than the model's brings its places in.
func TestOnFace(t *testing.T) {
	right := chartv1.Side_SIDE_RIGHT
	at, ok := onFace(&chartv1.Place{Frame: "orbit", XMicrometers: -10_000}, &right)
	if !ok || at != [2]float64{-54.459, 26.64} {
		t.Errorf("read %v, %v", at, ok)
	}
	at, ok = onFace(&chartv1.Place{Frame: "mouth", XMicrometers: 20_000, Scale: &chartv1.FrameScale{Measure: "mouth_width", MeasuredMicrometers: 98_248}}, nil)
	if !ok || at != [2]float64{10, -43.426} {
		t.Errorf("read %v, %v", at, ok)
	}
	if _, ok := onFace(&chartv1.Place{Frame: "orbit"}, nil); ok {
		t.Error("a place in a sided frame stands without a side")
	}
}
