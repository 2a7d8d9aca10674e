package main

import (
	"cmp"
	"encoding/base64"
	"flag"
	"fmt"
	"strconv"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/chart"
	"needlebook/internal/gs1"
	"needlebook/internal/record"
	"needlebook/internal/stock"
	"needlebook/internal/visit"
)

func vialLabel(f *flag.FlagSet) prepared {
	session := f.String("visit", "", "`id` of the visit, for the label of a syringe")
	syringe := f.String("syringe-id", "", "`id` of the syringe, an element of the visit")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, _, err := at.named()
		if err != nil {
			return err
		}
		text, err := stock.VialLabel(v, func(staff string) string { return at.staffName(staff) })
		if *session != "" {
			text, err = at.syringeLabel(v, *session, *syringe)
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprint(at.e.stdout, strings.ReplaceAll(text, "\u00a0", " "))
		return err
	}}
}

// vialNames puts what a vial is known by in place of its id, which a sentence carries in quotes or bare; other ids stay.
func (at *deed) vialNames(text string) string {
	for _, id := range idInText(text) {
		v, err := at.vial(id)
		if err != nil {
			continue
		}
		name := "of lot " + v.GetLabelling().GetLotNumber()
		if n := cmp.Or(v.GetLabelling().GetSerial(), v.GetShortNumber()); n != "" {
			name += ", number " + n
		}
		text = strings.NewReplacer("\""+id+"\"", name, id, name).Replace(text)
	}
	return text
}

// idInText lists the ids that stand in a text.
func idInText(text string) (ids []string) {
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r != '-' && (r < '0' || r > '9') && (r < 'a' || r > 'f') }) {
		if _, err := record.ParseID(word); err == nil {
			ids = append(ids, word)
		}
	}
	return ids
}

// patientName is how a patient is called here, with her id; the id alone where the tablet does not hold her.
func (at *deed) patientName(id string) string {
	if p, err := at.patient(id); err == nil && p.GetName().GetFull() != "" {
		return p.GetName().GetFull() + " (" + id + ")"
	}
	return "patient " + id
}

func (at *deed) staffName(id string) string {
	key, err := record.ParseID(id)
	if err != nil {
		return id
	}
	r, err := chart.Typed(at.d.State(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_STAFF, ID: key}))
	if err != nil || r.GetStaff().GetName().GetFull() == "" {
		return id
	}
	return r.GetStaff().GetName().GetFull()
}

func (at *deed) syringeLabel(v *chartv1.Vial, session, syringe string) (string, error) {
	if err := at.readVisit(session); err != nil {
		return "", err
	}
	patient, err := at.patient(at.session.GetPatientId())
	if err != nil {
		return "", err
	}
	for _, x := range at.session.GetSyringes() {
		if x.GetId() == syringe {
			return stock.SyringeLabel(v, x, patient.GetName().GetFull())
		}
	}
	return "", usagef("%s: --syringe-id: read %q, want a syringe of the visit", at.Name(), syringe)
}

// vialJSON is how a vial is.
type vialJSON struct {
	Title     string            `json:"title"`
	LeftML    string            `json:"left_ml"`
	LeftKnown bool              `json:"left_known"`
	Place     string            `json:"place"`
	Same      []string          `json:"same_vials"`
	Had       []stock.Had       `json:"had"`
	Excursion []stock.Excursion `json:"excursions"`
	Barcode   string            `json:"barcode"`
	View      rawJSON           `json:"view"`
}

func vialShow(*flag.FlagSet) prepared {
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, _, err := at.named()
		if err != nil {
			return err
		}
		all, err := at.vials()
		if err != nil {
			return err
		}
		sessions, err := at.sessions()
		if err != nil {
			return err
		}
		same := stock.SameAs(v, all)
		had := stock.LookBack(v, all, sessions)
		if at.json {
			return at.vialJSON(v, same, had)
		}
		var p page
		at.tellVial(&p, v.GetId())
		for _, x := range same {
			p.wrapped("", "The same vial as "+x.GetId())
		}
		for _, x := range stock.Excursions(v, at.clinicOf(v.GetClinicId())) {
			p.wrapped("", fmt.Sprintf("OUT OF RANGE in %s on %s", x.Reading.GetPlace(), x.Reading.GetRead().GetAt().AsTime().Format("2006-01-02 15:04")))
		}
		for _, h := range had {
			p.wrapped("", fmt.Sprintf("Had of it: %s on %s, visit %s", at.patientName(h.PatientID), h.On, h.SessionID))
		}
		if n := len(stock.SharedBy(had)); n > 1 {
			p.wrapped("", fmt.Sprintf("%d patients had of this vial.", n))
		}
		return p.write(at.e.stdout)
	}}
}

func (at *deed) vialJSON(v *chartv1.Vial, same []*chartv1.Vial, had []stock.Had) error {
	key, err := readKey("vial", v.GetId())
	if err != nil {
		return err
	}
	view, err := at.d.View(key)
	if err != nil {
		return err
	}
	raw, err := recordJSON(view)
	if err != nil {
		return err
	}
	left := stock.LeftIn(v, same...)
	out := vialJSON{Title: stock.Title(v), LeftML: "", LeftKnown: left.Known, Place: stock.PlaceOf(v), Same: []string{}, Had: had,
		Excursion: stock.Excursions(v, at.clinicOf(v.GetClinicId())), View: raw}
	if left.Known && left.Volume >= 0 {
		out.LeftML = left.Volume.Decimal()
	}
	for _, x := range same {
		out.Same = append(out.Same, x.GetId())
	}
	if b := v.GetLabelling().GetElementString(); len(b) > 0 {
		out.Barcode = base64.StdEncoding.EncodeToString(b)
		if read, err := gs1.Parse(b, at.e.now().Year()); err == nil {
			out.Barcode = read.Bracketed()
		}
	}
	return printAsJSON(at.e.stdout, out)
}

func vialStock(f *flag.FlagSet) prepared {
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	days := f.Int("days", 60, "how many `days` ahead to look for what expires")
	on := f.String("on", "", "the `day` to count from; today without it")
	return prepared{run: func(at *deed) error {
		if *clinic == "" {
			*clinic = at.d.Identity().Clinic
		}
		today, err := at.readDay("--on", *on)
		if err != nil {
			return err
		}
		all, err := at.vials()
		if err != nil {
			return err
		}
		held := stock.Ahead(all, *clinic, today, *days)
		if at.json {
			return printAsJSON(at.e.stdout, struct {
				Held []stock.Held `json:"held"`
			}{held})
		}
		var p page
		at.tellStock(&p, held, today)
		return p.write(at.e.stdout)
	}}
}

func (at *deed) tellStock(p *page, held []stock.Held, today *recordv1.Date) {
	rows := [][]string{{"content", "product", "unopened", "opened", "blocked", "on the way"}}
	for _, h := range held {
		rows = append(rows, []string{unitsOf(&chartv1.Dose{Product: h.Product, DoseMilliunits: h.ContentMilliunits}), h.Product, strconv.Itoa(h.Unopened),
			strconv.Itoa(h.Opened), strconv.Itoa(h.Blocked), strconv.Itoa(h.OnTheWay)})
	}
	if len(held) == 0 {
		p.line("No vial is here.")
		return
	}
	p.table(rows)
	for _, h := range held {
		for _, x := range h.Expired {
			p.wrapped("", "EXPIRED on "+visit.DateText(x.On)+": "+x.Title)
		}
		for _, x := range h.Expiring {
			p.wrapped("", "Expires on "+visit.DateText(x.On)+": "+x.Title)
		}
	}
	p.line("On " + visit.DateText(today) + ".")
}
