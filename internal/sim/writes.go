package sim

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// Fields that the simulator writes.
const (
	fieldAppointment, fieldOrder, fieldResponsible             = 7, 8, 9 // of a session
	fieldRatings, fieldInjections, fieldSignatures, fieldNotes = 27, 40, 70, 90
	fieldMuscle, fieldPlanned, fieldUneven, fieldGivings       = 2, 6, 9, 20 // of an injection
	fieldInjectionVoid                                         = 21
	fieldGiven, fieldRecordedBy, fieldGivingVoid               = 2, 8, 9 // of a giving
	fieldGrade, fieldRatingVoid                                = 2, 3
	fieldNoteText                                              = 2
	fieldSignedContent                                         = 2
	fieldShortNumber, fieldVialClinic, fieldDraws              = 4, 5, 23 // of a vial
	fieldAmount, fieldDrawVoid                                 = 2, 5
	fieldSex, fieldHomeClinic, fieldAlerts                     = 4, 7, 21 // of a patient
	fieldAlertContent, fieldAlertEnded                         = 2, 3
)

// scribe draws what an edit writes. Most values hold its serial, so that no two edits write the same; some come from a few, so that some do.
type scribe struct {
	rng    *rand.Rand
	serial int
	by     record.ID
	key    record.Key
	view   *record.State
	writes map[record.Path]*record.Write
	// Of the setting Clinic: who there is, and whose the record is unless it says otherwise.
	patients []record.ID
	subject  record.ID
}

// scribe is who makes an edit of a record with a view of it.
func (w *world) scribe(k record.Key, serial int, view *record.State) *scribe {
	return &scribe{
		rng: w.draw(serial), serial: serial, by: w.author(serial), key: k, view: view, patients: w.clinic.patients, subject: w.clinic.patientOf[k],
	}
}

// some makes the writes of one edit as the setting has them.
func (s *scribe) some(in Setting) []record.Write {
	if in == Clinic {
		return s.chart()
	}
	return s.draw()
}

func (s *scribe) id(what string) record.ID {
	return idOf(fmt.Sprintf("%s %d %d", what, s.serial, s.rng.IntN(1000)))
}

// draw makes the writes of one edit.
func (s *scribe) draw() []record.Write {
	s.writes = map[record.Path]*record.Write{}
	for range 1 + s.rng.IntN(2) {
		switch s.key.Kind {
		case optionsv1.RecordKind_RECORD_KIND_SESSION:
			s.session()
		case optionsv1.RecordKind_RECORD_KIND_VIAL:
			s.vial()
		default:
			s.patient()
		}
	}
	return s.sorted()
}

func (s *scribe) sorted() []record.Write {
	out := make([]record.Write, 0, len(s.writes))
	for _, w := range s.writes {
		out = append(out, *w)
	}
	slices.SortFunc(out, func(a, b record.Write) int { return strings.Compare(string(a.Path), string(b.Path)) })
	return out
}

// set writes one register, given as its value with its tag. Writes of one path come in ascending order of field.
func (s *scribe) set(p record.Path, field uint32, tagged []byte) {
	w := s.writes[p]
	if w == nil {
		w = &record.Write{Path: p}
		s.writes[p] = w
	}
	if slices.Contains(w.Clear, field) || len(w.Set) > 0 && highest(w.Set) >= field {
		return
	}
	w.Set = append(w.Set, tagged...)
}

func (s *scribe) clear(p record.Path, field uint32) {
	if s.writes[p] == nil {
		s.writes[p] = &record.Write{Path: p, Clear: []uint32{field}}
	}
}

// highest is the number of the last field of a set of registers.
func highest(set []byte) uint32 {
	last := uint32(0)
	for len(set) > 0 {
		number, typ, n := protowire.ConsumeTag(set)
		set = set[n+protowire.ConsumeFieldValue(number, typ, set[n:]):]
		last = uint32(number)
	}
	return last
}

func text(field uint32, s string) []byte {
	return protowire.AppendString(protowire.AppendTag(nil, protowire.Number(field), protowire.BytesType), s)
}

func message(field uint32, m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		panic(err) // the messages are made here
	}
	return protowire.AppendBytes(protowire.AppendTag(nil, protowire.Number(field), protowire.BytesType), b)
}

// elements is the elements of a collection, at any depth, that are in view.
func (s *scribe) elements(parent record.Path, field uint32) []record.Path {
	var out []record.Path
	for _, c := range s.view.Values() {
		rest, ok := strings.CutPrefix(string(c.Register.Path), string(parent))
		if !ok || rest == "" {
			continue
		}
		step, _ := record.Path(rest).Cut()
		p := parent.Child(step.Field, step.Element)
		if step.Field == field && (len(out) == 0 || out[len(out)-1] != p) {
			out = append(out, p)
		}
	}
	return out
}

// element is an old element of a collection or a new one.
func (s *scribe) element(parent record.Path, field uint32) (p record.Path, fresh bool) {
	old := s.elements(parent, field)
	if len(old) > 0 && s.rng.IntN(3) > 0 {
		return old[s.rng.IntN(len(old))], false
	}
	return parent.Child(field, s.id("element")), true
}

func (s *scribe) act() *recordv1.Act {
	return &recordv1.Act{By: s.by.String(), At: &timestamppb.Timestamp{Seconds: 1_790_000_000 + int64(s.serial)}}
}

func (s *scribe) void() *recordv1.Void {
	return &recordv1.Void{Reason: fmt.Sprint("void ", s.serial), By: s.by.String(), At: &timestamppb.Timestamp{Seconds: 1_790_000_000}}
}

func (s *scribe) dose() *chartv1.Dose {
	return &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: int32(1000 + s.serial)}
}

func (s *scribe) session() {
	switch s.rng.IntN(8) {
	case 0:
		s.set("", fieldAppointment, text(fieldAppointment, idOf(fmt.Sprint("appointment ", s.rng.IntN(2))).String()))
	case 1:
		s.set("", fieldOrder, text(fieldOrder, s.id("order").String()))
	case 2:
		s.clear("", fieldOrder)
	case 3:
		s.note()
	case 4:
		s.rating()
	default:
		s.injection()
	}
}

func (s *scribe) note() {
	p, _ := s.element("", fieldNotes)
	s.set(p, fieldNoteText, text(fieldNoteText, fmt.Sprint("note ", s.serial)))
}

func (s *scribe) rating() {
	p, fresh := s.element("", fieldRatings)
	if !fresh && s.rng.IntN(3) == 0 {
		s.set(p, fieldRatingVoid, message(fieldRatingVoid, s.void()))
		return
	}
	s.set(p, fieldGrade, message(fieldGrade, &chartv1.Grade{
		Scale: "frown", Version: "1", Direction: formularyv1.ScaleDirection_SCALE_DIRECTION_WORSE, Region: "glabella",
		Contraction: chartv1.Contraction_CONTRACTION_AT_REST, Grade: int32(s.serial % 4), Rated: s.act(),
	}))
}

func (s *scribe) injection() {
	p, fresh := s.element("", fieldInjections)
	if fresh {
		s.set(p, fieldMuscle, text(fieldMuscle, "procerus"))
		s.set(p, fieldPlanned, message(fieldPlanned, s.dose()))
		if s.rng.IntN(2) == 0 {
			s.giving(p)
		}
		return
	}
	switch s.rng.IntN(5) {
	case 0:
		s.set(p, fieldInjectionVoid, message(fieldInjectionVoid, s.void()))
	case 1:
		s.set(p, fieldUneven, text(fieldUneven, fmt.Sprint("uneven ", s.serial)))
	case 2:
		s.set(p, fieldPlanned, message(fieldPlanned, s.dose()))
	default:
		s.giving(p)
	}
}

func (s *scribe) giving(injection record.Path) {
	p, fresh := s.element(injection, fieldGivings)
	if !fresh && s.rng.IntN(2) == 0 {
		s.set(p, fieldGivingVoid, message(fieldGivingVoid, s.void()))
		return
	}
	s.set(p, fieldGiven, message(fieldGiven, &chartv1.GivenDose{Dose: s.dose()}))
	s.set(p, fieldRecordedBy, text(fieldRecordedBy, s.by.String()))
}

func (s *scribe) vial() {
	switch s.rng.IntN(5) {
	case 0:
		s.set("", fieldShortNumber, text(fieldShortNumber, fmt.Sprint("N", s.serial)))
	case 1:
		s.set("", fieldVialClinic, text(fieldVialClinic, s.id("clinic").String()))
	default:
		p, fresh := s.element("", fieldDraws)
		if !fresh && s.rng.IntN(2) == 0 {
			s.set(p, fieldDrawVoid, message(fieldDrawVoid, s.void()))
			return
		}
		s.set(p, fieldAmount, message(fieldAmount, &chartv1.DrawAmount{
			SessionId: idOf("session of a draw").String(), VolumeNanoliters: int64(100_000 + s.serial), DoseMilliunits: int32(s.serial),
		}))
	}
}

func (s *scribe) patient() {
	switch s.rng.IntN(4) {
	case 0:
		s.set("", fieldSex, text(fieldSex, fmt.Sprint("stated_", s.rng.IntN(2))))
	case 1:
		s.set("", fieldHomeClinic, text(fieldHomeClinic, s.id("clinic").String()))
	default:
		p, fresh := s.element("", fieldAlerts)
		if !fresh && s.rng.IntN(2) == 0 {
			s.set(p, fieldAlertEnded, message(fieldAlertEnded, s.void()))
			return
		}
		s.set(p, fieldAlertContent, message(fieldAlertContent, &chartv1.AlertContent{
			Kind: chartv1.AlertKind_ALERT_KIND_DRUG, Text: fmt.Sprint("alert ", s.serial), Raised: s.act(),
		}))
	}
}

// settle makes the writes that settle one of the conflicts in view: with one of its values, or with a cleared field.
func (s *scribe) settle() []record.Write {
	conflicts := s.view.Conflicts()
	if len(conflicts) == 0 {
		return nil
	}
	c := conflicts[s.rng.IntN(len(conflicts))]
	x := c.Siblings[s.rng.IntN(len(c.Siblings))]
	if x.Cleared {
		return []record.Write{{Path: c.Register.Path, Clear: []uint32{c.Register.Field}}}
	}
	return []record.Write{{Path: c.Register.Path, Set: x.Value}}
}
