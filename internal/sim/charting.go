package sim

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/record"
)

// Fields that only the setting Clinic writes.
const (
	fieldPatient                                   = 2 // of a session and of a photo
	fieldDay, fieldSessionVoid                     = 6, 71
	fieldPhotoSession, fieldImage                  = 3, 5
	fieldName, fieldBirth                          = 2, 3 // of a patient
	fieldPresentation, fieldPreparations           = 2, 22
	fieldWastes                                    = 25
	fieldDiluent, fieldPreparationVoid, fieldWaste = 2, 7, 2
	fieldWasteVoid                                 = 3
)

// chart makes the writes of one edit of a clinic's record. A session that is nobody's yet gets its patient first.
func (s *scribe) chart() []record.Write {
	s.writes = map[record.Path]*record.Write{}
	switch s.key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_SESSION:
		s.chartSession()
	case optionsv1.RecordKind_RECORD_KIND_VIAL:
		s.chartVial()
	case optionsv1.RecordKind_RECORD_KIND_PATIENT:
		s.chartPatient()
	default:
		s.note()
	}
	return s.sorted()
}

func (s *scribe) chartSession() {
	if len(s.view.Siblings(record.Register{Field: fieldPatient})) == 0 {
		s.set("", fieldPatient, text(fieldPatient, s.subject.String()))
	}
	if s.rng.IntN(4) == 0 {
		s.set("", fieldDay, message(fieldDay, &recordv1.Date{Year: 2026, Month: 1 + int32(s.rng.IntN(12)), Day: 1 + int32(s.rng.IntN(28))}))
	}
	s.session()
}

func (s *scribe) chartPatient() {
	switch s.rng.IntN(4) {
	case 0:
		s.set("", fieldName, message(fieldName, &recordv1.PersonName{Full: fmt.Sprint("Name ", s.serial)}))
	case 1:
		s.set("", fieldBirth, message(fieldBirth, &chartv1.BirthDate{
			Date: &recordv1.Date{Year: 1950 + int32(s.serial%40), Month: 2, Day: 3}, Proof: chartv1.BirthProof_BIRTH_PROOF_STATED, Checked: s.act(),
		}))
	default:
		s.patient()
	}
}

// chartVial writes amounts that use up a vial at the second draw, so that two tablets overdraw it unknown to each other.
func (s *scribe) chartVial() {
	switch {
	case len(s.view.Siblings(record.Register{Field: fieldPresentation})) == 0 || s.rng.IntN(12) == 0:
		p := &chartv1.VialPresentation{Product: "onabotulinumtoxinA", ContentMilliunits: 100_000}
		if s.rng.IntN(3) == 0 {
			p.LiquidNanoliters = proto.Int64(int64(500_000 + s.serial))
		}
		s.set("", fieldPresentation, message(fieldPresentation, p))
		if p.LiquidNanoliters == nil {
			s.prepare()
		}
	case s.rng.IntN(10) == 0:
		s.prepare()
	case s.rng.IntN(6) == 0:
		s.waste()
	default:
		s.drawUp()
	}
}

func (s *scribe) prepare() {
	p, fresh := s.element("", fieldPreparations)
	if !fresh && s.rng.IntN(3) == 0 {
		s.set(p, fieldPreparationVoid, message(fieldPreparationVoid, s.void()))
		return
	}
	s.set(p, fieldDiluent, message(fieldDiluent, &chartv1.Diluent{
		Kind: "saline", VolumeNanoliters: int64(500_000 + s.serial), ExpiresOn: &recordv1.Date{Year: 2027, Month: 1, Day: 1},
	}))
}

func (s *scribe) waste() {
	p, fresh := s.element("", fieldWastes)
	if !fresh && s.rng.IntN(2) == 0 {
		s.set(p, fieldWasteVoid, message(fieldWasteVoid, s.void()))
		return
	}
	amount := &chartv1.WasteAmount{Reason: fmt.Sprint("waste ", s.serial), Done: s.act()}
	if s.rng.IntN(4) > 0 {
		amount.VolumeNanoliters = proto.Int64(int64(50_000 + s.serial))
	}
	s.set(p, fieldWaste, message(fieldWaste, amount))
}

func (s *scribe) drawUp() {
	p, fresh := s.element("", fieldDraws)
	if !fresh {
		switch s.rng.IntN(6) {
		case 0, 1:
			s.set(p, fieldDrawVoid, message(fieldDrawVoid, s.void()))
			return
		case 2:
			s.clear(p, fieldDrawVoid) // it was drawn after all
			return
		}
	}
	amount := &chartv1.DrawAmount{
		SessionId: idOf("session of a draw").String(), VolumeNanoliters: int64(300_000 + s.serial), DoseMilliunits: int32(30_000 + s.serial),
	}
	if made := s.elements("", fieldPreparations); len(made) > 0 {
		step, _ := made[s.rng.IntN(len(made))].Cut()
		amount.PreparationId = proto.String(record.ID(step.Element).String())
	}
	s.set(p, fieldAmount, message(fieldAmount, amount))
}

// move makes a session another patient's, as when it was begun in the wrong chart.
func (s *scribe) move() []record.Write {
	return []record.Write{{Set: text(fieldPatient, s.patients[s.rng.IntN(len(s.patients))].String())}}
}

func (s *scribe) voidSession() []record.Write {
	return []record.Write{{Set: message(fieldSessionVoid, s.void())}}
}

// witness signs what a tablet shows of a session, or showed when it was opened, or an addendum to what came late; or falsely: over altered values, or in
// the name of another.
func (t *tablet) witness(k record.Key, serial int, how string) {
	manner := "plain"
	if how == "stale" {
		manner = how
	}
	var tagged []byte
	m := t.edit(k, serial, manner, func(sc *scribe) []record.Write {
		content, err := t.schema.ToSign(sc.view)
		if err != nil || len(content.GetVector()) < 2 || !t.r.Whole(k) && !t.w.seams.blind {
			return nil // a conflict, nothing to sign, or not all that there is to sign
		}
		signer := sc.by
		content.Meaning = syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED
		if len(t.schema.LateEntries(sc.view)) > 0 {
			content.Meaning = syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM
		}
		switch how {
		case "altered":
			content.Values = append(slices.Clone(content.GetValues()), text(fieldResponsible, signer.String())...)
		case "other":
			signer = t.w.author(serial + 1)
		}
		content.SignerId, content.SignedAtUnixMs = signer.String(), int64(serial)
		tagged = message(fieldSignedContent, content)
		return []record.Write{{Path: record.Path("").Child(fieldSignatures, sc.id("signature")), Set: tagged}}
	})
	if m != nil {
		m.signed, m.altered, m.forged = tagged, how == "altered", how == "other"
		t.w.count("signed")
	}
}

// photo takes a photo of a patient: its description is an edit like any other, and its bytes go into the album.
func (t *tablet) photo(patient record.ID, serial int, how string) {
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PHOTO, ID: idOf(fmt.Sprint("photo ", t.w.seed, " ", serial))}
	p := t.w.newPicture(serial, how)
	m := t.edit(k, serial, "plain", func(*scribe) []record.Write {
		set := text(fieldPatient, patient.String())
		set = append(set, text(fieldPhotoSession, t.w.visit(serial).ID.String())...)
		return []record.Write{{Set: append(set, message(fieldImage, &chartv1.Image{
			Sha256: p.hash[:], SizeBytes: int64(len(p.data)), MediaType: "image/jpeg", WidthPixels: 1, HeightPixels: 1,
		})...)}}
	})
	if m == nil {
		return
	}
	t.w.keys = append(t.w.keys, k)
	p.at = m.at
	t.album, t.w.clinic.taken = append(t.album, p), append(t.w.clinic.taken, p)
	t.w.count("photos taken")
}
