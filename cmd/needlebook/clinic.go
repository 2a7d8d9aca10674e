package main

import (
	"context"
	"flag"
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
	"needlebook/internal/visit"
)

const clinicHelp = `
Works at the server, as the person who signs in for this one command. An
administrator sets up clinics and people; the medical lead writes and publishes
texts. docs/day.md tells a whole day.`

func clinicCommand() command {
	return command{name: "clinic", short: "set up clinics, credentials, texts and practice at the server", sub: []command{
		clinicStep("list", "[flags]", "list the clinics with what they set and what they lack", clinicList),
		clinicStep("add", "--title TEXT [flags]", "add a clinic", clinicAdd),
		clinicStep("contact", "CLINIC-ID [flags]", "set how a clinic is reached, its zone and where it lies", clinicContact),
		clinicStep("policies", "CLINIC-ID [flags]", "set what a clinic wants where the law leaves it open", clinicPolicies),
		clinicStep("emergency", "CLINIC-ID --phone NUMBER --text TEXT [flags]", "write a clinic's emergency card", clinicEmergency),
		clinicStep("syringes", "CLINIC-ID --add CODES [flags]", "set which syringes a clinic stocks", clinicSyringes),
		clinicStep("place", "CLINIC-ID PLACE [flags]", "add a place where vials are kept", clinicPlace),
		clinicStep("dilution", "CLINIC-ID --product NAME [flags]", "adopt a dilution", clinicDilution),
		clinicStep("prescriber", "STAFF-ID --basis TEXT [flags]", "say that a person may prescribe", clinicPrescriber),
		clinicStep("credential", "STAFF-ID --region CODE [flags]", "say which region a person may treat, and how freely", clinicCredential),
		clinicStep("drafts", "[flags]", "write drafts of a questionnaire and of consent texts to begin with", clinicDrafts),
		clinicStep("texts", "[flags]", "list questionnaires, consent texts and protocols", clinicTexts),
		clinicStep("publish", "KIND ID [flags]", "publish a draft, as its medical lead", clinicPublish),
		clinicStep("withdraw", "KIND ID --reason TEXT [flags]", "say that a text is not to be used any more", clinicWithdraw),
		clinicStep("practice", "--patient NAME [flags]", "make a patient, and a vial without drug, for practice", clinicPractice),
	}}
}

// officeDeed is a command that works at the server at work.
type officeDeed struct {
	*officeFlags
	ctx   context.Context
	e     env
	o     *office
	book  *formulary.Edition
	staff *accessv1.Staff
	args  []string
}

type officePrepared struct {
	arguments []string
	run       func(*officeDeed) error
}

func clinicStep(name, usage, short string, prepare func(*flag.FlagSet) officePrepared) command {
	return command{name: name, usage: usage, short: short, long: clinicHelp, run: func(ctx context.Context, e env, args []string) error {
		f := newOfficeFlags(name)
		f.FlagSet.Init("clinic "+name, flag.ContinueOnError)
		p := prepare(f.FlagSet)
		var found []string
		for rest := args; ; {
			left, err := parseFlagsAnd(f.FlagSet, rest)
			if err != nil {
				return err
			}
			if len(left) == 0 {
				break
			}
			found, rest = append(found, left[0]), left[1:]
		}
		if len(found) != len(p.arguments) {
			return usagef("%s: read %d arguments, want %s", f.Name(), len(found), strings.Join(append(slices.Clone(p.arguments), "flags"), " and "))
		}
		o, err := f.signIn(ctx)
		if err != nil {
			return err
		}
		book, err := formulary.Builtin()
		if err != nil {
			return err
		}
		at := &officeDeed{f, ctx, e, o, book, o.staff, found}
		return p.run(at)
	}}
}

func (at *officeDeed) hand() visit.Hand {
	h := visit.Hand{By: at.staff.GetId(), At: at.e.now(), NewID: uuid.NewString}
	for _, p := range at.staff.GetPositions() {
		if p.GetEnded() == nil {
			h.Roles = append(h.Roles, p.GetAssignment().GetRoles()...)
		}
	}
	return h
}

// get reads a record of a kind.
func (at *officeDeed) get(kind record.Kind, name, id string) (*chartv1.RecordView, error) {
	if _, err := readID(name, id); err != nil {
		return nil, err
	}
	resp, err := ask(at.ctx, at.o, at.o.chart.GetRecord, &chartv1.GetRecordRequest{Key: &chartv1.RecordKey{Kind: kind, RecordId: id}})
	return resp.GetView(), err
}

// list reads every record of a kind.
func (at *officeDeed) list(kind record.Kind) (all []*chartv1.RecordView, err error) {
	for token := ""; ; {
		resp, err := ask(at.ctx, at.o, at.o.chart.ListRecords, &chartv1.ListRecordsRequest{Kind: kind, PageSize: 200, PageToken: token})
		if err != nil {
			return nil, err
		}
		all = append(all, resp.GetViews()...)
		if token = resp.GetNextPageToken(); token == "" {
			return all, nil
		}
	}
}

// edit writes a part of a record that was read, or a new one with no view, and prints the record after it.
func (at *officeDeed) edit(was *chartv1.RecordView, part proto.Message) error {
	view, err := at.write(was, part)
	if err != nil {
		return err
	}
	return at.show(view)
}

func (at *officeDeed) write(was *chartv1.RecordView, part proto.Message) (*chartv1.RecordView, error) {
	r := chart.RecordOf(part)
	mask, err := chart.PathsOf(r)
	if err != nil {
		return nil, err
	}
	resp, err := ask(at.ctx, at.o, at.o.chart.EditRecord, &chartv1.EditRecordRequest{
		RequestId: uuid.NewString(), Record: r, UpdateMask: mask, Context: was.GetContext(),
	})
	return resp.GetView(), err
}

func (at *officeDeed) show(views ...*chartv1.RecordView) error {
	if at.json {
		return printAsJSON(at.e.stdout, struct {
			Views []rawJSON `json:"views"`
		}{rawViews(views)})
	}
	t := recordText{}
	for _, v := range views {
		key, _, err := chart.KeyOf(v.GetRecord())
		if err != nil {
			return err
		}
		t.view(key, v)
	}
	return t.write(at.e.stdout)
}

const (
	kindClinic = optionsv1.RecordKind_RECORD_KIND_CLINIC
	kindStaff  = optionsv1.RecordKind_RECORD_KIND_STAFF
)

func clinicList(*flag.FlagSet) officePrepared {
	return officePrepared{run: func(at *officeDeed) error {
		views, err := at.list(kindClinic)
		if err != nil {
			return err
		}
		if at.json {
			return at.show(views...)
		}
		var p page
		for _, v := range views {
			c := v.GetRecord().GetClinic()
			p.wrapped("", c.GetName()+" "+c.GetId())
			for _, lack := range clinicLacks(c) {
				p.wrapped("  ", "lacks "+lack)
			}
		}
		return p.write(at.e.stdout)
	}}
}

// clinicLacks lists what a clinic should set and does not.
func clinicLacks(c *chartv1.Clinic) (lacks []string) {
	for text, is := range map[string]bool{
		"a telephone number, which the after-care sheet shows": c.GetContact().GetPhone() == "",
		"an emergency card":                      c.GetEmergency() == nil,
		"a time zone":                            c.GetTimeZone() == "",
		"policies, so the stricter of each hold": c.GetPolicies() == nil,
		"a medical lead":                         c.LeadId == nil,
		"the syringes that it stocks":            len(c.GetSyringes()) == 0,
	} {
		if is {
			lacks = append(lacks, text)
		}
	}
	slices.Sort(lacks)
	return lacks
}

func clinicAdd(f *flag.FlagSet) officePrepared {
	title := f.String("title", "", "the clinic's `name`")
	return officePrepared{run: func(at *officeDeed) error {
		if *title == "" {
			return usagef("%s: --title is absent, want the clinic's name", at.Name())
		}
		return at.edit(nil, &chartv1.Clinic{Id: uuid.NewString(), Name: title})
	}}
}

// changed edits the clinic that the first argument names.
func (at *officeDeed) changed(change func(c, part *chartv1.Clinic) error) error {
	v, err := at.get(kindClinic, "CLINIC-ID", at.args[0])
	if err != nil {
		return err
	}
	part := &chartv1.Clinic{Id: at.args[0]}
	if err := change(v.GetRecord().GetClinic(), part); err != nil {
		return err
	}
	return at.edit(v, part)
}

func clinicContact(f *flag.FlagSet) officePrepared {
	phone := f.String("phone", "", "the telephone `number`")
	email := f.String("email", "", "the mail `address`")
	street := f.String("street", "", "`street`, house and further lines")
	code := f.String("postal-code", "", "the postal `code`")
	city := f.String("city", "", "the `city`")
	country := f.String("country", "", "the country, two `letters`")
	zone := f.String("time-zone", "", "the `zone`, such as Europe/Athens")
	where := f.String("jurisdiction", "", "where it lies, of ISO 3166, such as GR")
	lead := f.String("lead", "", "staff `id` of the medical lead")
	return officePrepared{[]string{"CLINIC-ID"}, func(at *officeDeed) error {
		if *zone != "" && zones(*zone) == nil {
			return usagef("%s: --time-zone: read %q, want a zone of this machine's database, such as Europe/Athens", at.Name(), *zone)
		}
		return at.changed(func(c, part *chartv1.Clinic) error {
			contact := proto.CloneOf(c.GetContact())
			if contact == nil {
				contact = &recordv1.Contact{}
			}
			for field, said := range map[*string]string{&contact.Phone: *phone, &contact.Email: *email, &contact.Street: *street, &contact.PostalCode: *code,
				&contact.City: *city, &contact.Country: *country} {
				if said != "" {
					*field = said
				}
			}
			if !proto.Equal(contact, c.GetContact()) && !proto.Equal(contact, &recordv1.Contact{}) {
				part.Contact = contact
			}
			for field, said := range map[**string]string{&part.TimeZone: *zone, &part.Jurisdiction: *where, &part.LeadId: *lead} {
				if said != "" {
					*field = &said
				}
			}
			return nil
		})
	}}
}

func clinicPolicies(f *flag.FlagSet) officePrepared {
	p := &chartv1.ClinicPolicies{}
	f.BoolVar(&p.SharedVials, "shared-vials", false, "a second patient from one vial is allowed, where that is lawful")
	f.BoolVar(&p.WasteWitness, "waste-witness", true, "waste wants a witness")
	f.BoolVar(&p.BirthProof, "birth-proof", true, "a date of birth that was only stated holds")
	f.BoolVar(&p.ExaminationInPerson, "examination-in-person", true, "an order that was not examined face to face holds")
	f.BoolVar(&p.PreparationCheck, "preparation-check", true, "a second person checks each preparation")
	thinking := f.Int("cooling-off-hours", 24, "the time to think after consent was explained, in `hours`")
	youngest := f.Int("youngest-years", 18, "the youngest age treated, in whole `years`")
	return officePrepared{[]string{"CLINIC-ID"}, func(at *officeDeed) error {
		return at.changed(func(_, part *chartv1.Clinic) error {
			p.CoolingOffHours, p.YoungestYears, p.Decided = int32(*thinking), int32(*youngest), at.hand().Act()
			part.Policies = p
			return nil
		})
	}}
}

func clinicEmergency(f *flag.FlagSet) officePrepared {
	phone := f.String("phone", "", "the `number` to call")
	text := f.String("text", "", "what to do at once, in the clinic's own `words`")
	return officePrepared{[]string{"CLINIC-ID"}, func(at *officeDeed) error {
		return at.changed(func(_, part *chartv1.Clinic) error {
			part.Emergency = &chartv1.EmergencyCard{Phone: *phone, Text: *text, Written: at.hand().Act()}
			return nil
		})
	}}
}

func clinicSyringes(f *flag.FlagSet) officePrepared {
	add := f.String("add", "", "types of the formulary, by their `codes` with commas between")
	end := f.String("end", "", "types that are not stocked any more, by their `codes`")
	reason := f.String("reason", "not stocked any more", "why, in `words`")
	return officePrepared{[]string{"CLINIC-ID"}, func(at *officeDeed) error {
		return at.changed(func(c, part *chartv1.Clinic) error {
			for _, code := range words(*add) {
				if _, ok := at.book.Syringe(code); !ok {
					return usagef("%s: --add: read %q, want one of the formulary's codes; needlebook formulary show -section syringes lists them", at.Name(), code)
				}
				if !slices.ContainsFunc(c.GetSyringes(), func(s *chartv1.StockedSyringe) bool { return s.GetSyringeCode() == code && s.GetEnded() == nil }) {
					part.Syringes = append(part.Syringes, &chartv1.StockedSyringe{Id: uuid.NewString(), SyringeCode: &code})
				}
			}
			for _, s := range c.GetSyringes() {
				if slices.Contains(words(*end), s.GetSyringeCode()) && s.GetEnded() == nil {
					part.Syringes = append(part.Syringes, &chartv1.StockedSyringe{Id: s.GetId(), Ended: at.void(*reason)})
				}
			}
			return nil
		})
	}}
}

func (at *officeDeed) void(reason string) *recordv1.Void {
	act := at.hand().Act()
	return &recordv1.Void{Reason: reason, By: act.GetBy(), At: act.GetAt()}
}

func clinicPlace(f *flag.FlagSet) officePrepared {
	lowest := f.String("lowest-celsius", "", "the lowest right temperature")
	highest := f.String("highest-celsius", "", "the highest right temperature")
	return officePrepared{[]string{"CLINIC-ID", "PLACE"}, func(at *officeDeed) error {
		return at.changed(func(_, part *chartv1.Clinic) error {
			place := &chartv1.StorageRange{Name: at.args[1]}
			var err error
			if place.LowestMillicelsius, err = readCelsius(at.Name()+": --lowest-celsius", *lowest); err != nil {
				return err
			}
			if place.HighestMillicelsius, err = readCelsius(at.Name()+": --highest-celsius", *highest); err != nil {
				return err
			}
			part.StoragePlaces = []*chartv1.StoragePlaceEntry{{Id: uuid.NewString(), Place: place}}
			return nil
		})
	}}
}

func clinicDilution(f *flag.FlagSet) officePrepared {
	product := f.String("product", "", "the `product`")
	content := f.String("content-units", "", "the content of the vial, in `units`")
	volume := f.String("diluent-ml", "", "the diluent added, in `mL`")
	diluent := f.String("diluent", "sodium_chloride_0_9_preservative_free", "the `kind` of diluent")
	reason := f.String("reason", "", "why, in `words`")
	return officePrepared{[]string{"CLINIC-ID"}, func(at *officeDeed) error {
		return at.changed(func(_, part *chartv1.Clinic) error {
			if _, ok := at.book.Product(*product); !ok {
				return usagef("%s: --product: read %q, want a product of the formulary", at.Name(), *product)
			}
			a, err := dose.ParseAmount(dose.Product(*product), *content)
			if err != nil {
				return usagef("%s: --content-units: read %q, want units such as 100", at.Name(), *content)
			}
			v, err := dose.ParseVolume(*volume)
			if err != nil {
				return usagef("%s: --diluent-ml: read %q, want millilitres such as 2.5", at.Name(), *volume)
			}
			part.AdoptedDilutions = []*chartv1.AdoptedDilution{{Id: uuid.NewString(), Dilution: &chartv1.AdoptedStrength{
				Product: *product, ContentMilliunits: int32(a.Milliunits()), DiluentNanoliters: int64(v), Diluent: *diluent, Reason: *reason, Adopted: at.hand().Act(),
			}}}
			return nil
		})
	}}
}

// readDate reads a day such as 2026-03-01; nil for an empty text.
func (at *officeDeed) readDate(name, text string) (*recordv1.Date, error) {
	if text == "" {
		return nil, nil
	}
	return (&deed{dayFlags: dayFlags{&replicaFlags{FlagSet: at.FlagSet}}, e: at.e}).readDay(name, text)
}

func clinicPrescriber(f *flag.FlagSet) officePrepared {
	basis := f.String("basis", "", "by what right: a licence or its number, in the `words` of the country")
	expires := f.String("expires", "", "the last `day` on which it holds; without end without it")
	return officePrepared{[]string{"STAFF-ID"}, func(at *officeDeed) error {
		v, err := at.get(kindStaff, "STAFF-ID", at.args[0])
		if err != nil {
			return err
		}
		last, err := at.readDate("--expires", *expires)
		if err != nil {
			return err
		}
		return at.edit(v, &accessv1.Staff{Id: at.args[0], Prescribes: &accessv1.Prescribing{Basis: *basis, ExpiresOn: last}})
	}}
}

// targetsWanted says what a region may be, with the regions by name.
func targetsWanted() string {
	var all []string
	for _, r := range anatomy.Regions() {
		all = append(all, string(r))
	}
	return "one of " + strings.Join(all, ", ") + ", or an area or a muscle of docs/anatomy.md"
}

func clinicCredential(f *flag.FlagSet) officePrepared {
	region := f.String("region", "", "the `region`, such as lower_face")
	kind := f.String("kind", "independent", "independent or supervised")
	supervisor := f.String("supervisor", "", "staff `id` of the supervisor; any credentialled colleague without it")
	evidence := f.String("evidence", "", "what it rests on, in `words`")
	expires := f.String("expires", "", "the last `day` on which it holds; without end without it")
	revoke := f.String("revoke", "", "take a credential back, by its `id`")
	reason := f.String("reason", "credential granted", "why, in `words`")
	return officePrepared{[]string{"STAFF-ID"}, func(at *officeDeed) error {
		if _, err := readID("STAFF-ID", at.args[0]); err != nil {
			return err
		}
		req := &accessv1.SetStaffRolesRequest{RequestId: uuid.NewString(), StaffId: at.args[0], Reason: *reason}
		if *revoke != "" {
			req.RevokeCredentialIds = []string{*revoke}
		} else {
			n, ok := accessv1.CredentialKind_value["CREDENTIAL_KIND_"+strings.ToUpper(*kind)]
			if !ok {
				return usagef("%s: --kind: read %q, want independent or supervised", at.Name(), *kind)
			}
			if !anatomy.KnownTarget(*region) {
				return usagef("%s: --region: read %q, want %s", at.Name(), *region, targetsWanted())
			}
			last, err := at.readDate("--expires", *expires)
			if err != nil {
				return err
			}
			g := &accessv1.CredentialRequest{Region: *region, Kind: accessv1.CredentialKind(n), Evidence: *evidence, ExpiresOn: last}
			if *supervisor != "" {
				g.SupervisorId = supervisor
			}
			req.GrantCredentials = append(req.GrantCredentials, g)
		}
		resp, err := ask(at.ctx, at.o, at.o.access.SetStaffRoles, req)
		if err != nil {
			return err
		}
		return at.show(&chartv1.RecordView{Record: &chartv1.Record{Kind: &chartv1.Record_Staff{Staff: resp.GetStaff()}}})
	}}
}
