package visit

import (
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// PracticePatient is a new record of somebody who does not exist, to practise on. Her name begins with the word that stands on everything for practice, so
// that no list, whoever shows it, can take her for real. Only the server writes the mark, and only into a new record.
func PracticePatient(h Hand, name, clinic string) *chartv1.Patient {
	return &chartv1.Patient{
		Id: h.NewID(), Name: &recordv1.PersonName{Full: PracticeWord + " " + name, Family: PracticeWord}, HomeClinicId: &clinic,
		Birth: &chartv1.BirthDate{
			Date: &recordv1.Date{Year: 1980, Month: 1, Day: 1}, Proof: chartv1.BirthProof_BIRTH_PROOF_DOCUMENT, Checked: h.Act(),
		},
		Practice: &chartv1.PracticeMark{Set: h.Act()},
	}
}

// PracticeVial is a new record of a vial that holds no drug, to practise with. It never expires within a lifetime of practice.
func PracticeVial(h Hand, product string, contentMilliunits int32, clinic string) *chartv1.Vial {
	return &chartv1.Vial{
		Id: h.NewID(), Presentation: &chartv1.VialPresentation{Product: product, ContentMilliunits: contentMilliunits},
		Labelling: &chartv1.VialLabelling{
			LotNumber: PracticeWord, ExpiresOn: &recordv1.Date{Year: 2099, Month: 12, Day: 31}, Reading: chartv1.LabelReading_LABEL_READING_HAND, Read: h.Act(),
		},
		ShortNumber: new(PracticeWord), ClinicId: &clinic, Practice: &chartv1.PracticeMark{Set: h.Act()},
	}
}
