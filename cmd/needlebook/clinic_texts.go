package main

import (
	"flag"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/record"
	"needlebook/internal/starter"
	"needlebook/internal/visit"
)

func clinicDrafts(*flag.FlagSet) officePrepared {
	return officePrepared{run: func(at *officeDeed) error {
		drafts := []proto.Message{starter.Questionnaire(uuid.NewString)}
		for _, t := range starter.ConsentTexts(uuid.NewString) {
			drafts = append(drafts, t)
		}
		var views []*chartv1.RecordView
		for _, m := range drafts {
			v, err := at.write(nil, m)
			if err != nil {
				return err
			}
			views = append(views, v)
		}
		return at.showTexts(views)
	}}
}

// textKinds are the kinds of texts that a medical lead publishes.
func textKinds() []record.Kind {
	return []record.Kind{kindQuestionnaire, kindConsentText, kindProtocol}
}

func clinicTexts(*flag.FlagSet) officePrepared {
	return officePrepared{run: func(at *officeDeed) error {
		var views []*chartv1.RecordView
		for _, kind := range textKinds() {
			some, err := at.list(kind)
			if err != nil {
				return err
			}
			views = append(views, some...)
		}
		return at.showTexts(views)
	}}
}

// showTexts lists texts: what each is called, its version, and whether it may be used.
func (at *officeDeed) showTexts(views []*chartv1.RecordView) error {
	if at.json {
		return at.show(views...)
	}
	var p page
	for _, v := range views {
		key, m, err := chart.KeyOf(v.GetRecord())
		if err != nil {
			return err
		}
		var title, version, stands string
		var withdrawn bool
		switch x := m.(type) {
		case *chartv1.ConsentText:
			title, version, withdrawn = x.GetTitle(), x.GetVersion(), x.GetWithdrawn() != nil
		case *chartv1.Questionnaire:
			title, version, withdrawn = x.GetTitle(), x.GetVersion(), x.GetWithdrawn() != nil
		case *chartv1.Protocol:
			title, version, withdrawn = x.GetTitle(), x.GetVersion(), x.GetWithdrawn() != nil
		}
		switch {
		case withdrawn:
			stands = "withdrawn"
		case visit.IsAsPublished(m):
			stands = "published"
		default:
			stands = "DRAFT, or changed since it was published: nobody may use it"
		}
		p.wrapped("", fmt.Sprintf("%s %s: %s, version %s, %s", kindName(key.Kind), key.ID, title, version, stands))
	}
	return p.write(at.e.stdout)
}

// text reads the text that the two arguments name.
func (at *officeDeed) text() (*chartv1.RecordView, proto.Message, error) {
	_, kind, err := readKind(at.args[0])
	if err != nil {
		return nil, nil, err
	}
	if !slices.Contains(textKinds(), kind) {
		return nil, nil, usagef("%s: KIND: read %q, want questionnaire, consent_text or protocol", at.Name(), at.args[0])
	}
	v, err := at.get(kind, "ID", at.args[1])
	if err != nil {
		return nil, nil, err
	}
	_, m, err := chart.KeyOf(v.GetRecord())
	return v, m, err
}

func clinicPublish(*flag.FlagSet) officePrepared {
	return officePrepared{[]string{"KIND", "ID"}, func(at *officeDeed) error {
		v, m, err := at.text()
		if err != nil {
			return err
		}
		if len(v.GetConflicts()) > 0 {
			return usagef("%s: %s holds more than one value; settle it first", at.Name(), v.GetConflicts()[0].GetPath())
		}
		part, err := visit.Publish(at.hand(), m)
		if err != nil {
			return err
		}
		if v, err = at.write(v, part); err != nil {
			return err
		}
		return at.showTexts([]*chartv1.RecordView{v})
	}}
}

func clinicWithdraw(f *flag.FlagSet) officePrepared {
	reason := f.String("reason", "", "why, in `words`")
	return officePrepared{[]string{"KIND", "ID"}, func(at *officeDeed) error {
		v, m, err := at.text()
		if err != nil {
			return err
		}
		if *reason == "" {
			return usagef("%s: --reason is absent", at.Name())
		}
		var part proto.Message
		switch m.(type) {
		case *chartv1.ConsentText:
			part = &chartv1.ConsentText{Id: at.args[1], Withdrawn: at.void(*reason)}
		case *chartv1.Questionnaire:
			part = &chartv1.Questionnaire{Id: at.args[1], Withdrawn: at.void(*reason)}
		default:
			part = &chartv1.Protocol{Id: at.args[1], Withdrawn: at.void(*reason)}
		}
		if v, err = at.write(v, part); err != nil {
			return err
		}
		return at.showTexts([]*chartv1.RecordView{v})
	}}
}

func clinicPractice(f *flag.FlagSet) officePrepared {
	patient := f.String("patient", "", "a made-up `name`; it is written behind the word PRACTICE")
	product := f.String("product", "", "the `product` that the vial stands for; no vial without it")
	content := f.String("content-units", "", "what the vial stands for, in `units`")
	clinic := f.String("clinic", "", "`id` of the clinic")
	return officePrepared{run: func(at *officeDeed) error {
		if *patient == "" || *clinic == "" {
			return usagef("%s: want --patient and --clinic", at.Name())
		}
		h := at.hand()
		parts := []proto.Message{visit.PracticePatient(h, *patient, *clinic)}
		if *product != "" {
			a, err := dose.ParseAmount(dose.Product(*product), *content)
			if err != nil {
				return usagef("%s: --content-units: read %q, want units such as 100", at.Name(), *content)
			}
			parts = append(parts, visit.PracticeVial(h, *product, int32(a.Milliunits()), *clinic))
		}
		var views []*chartv1.RecordView
		for _, m := range parts {
			v, err := at.write(nil, m)
			if err != nil {
				return err
			}
			views = append(views, v)
		}
		return at.show(views...)
	}}
}
