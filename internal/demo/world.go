package demo

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/chart"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/server"
)

// world is the organisation with its server and its tablets.
type world struct {
	seed      uint64
	size      int   // how many patients
	dice      *dice // of what is asked of the server before there are tablets
	clock     *clock
	schema    *record.Schema
	chart     *chart.Chart
	book      book
	server    *server.Server
	url       string
	transport *http.Transport
	org       record.ID
	admin     string // the administrator's token
	clinics   []clinic
	staff     []*person
	patients  []*patient
	tablets   []*tablet

	consentTexts  map[string]consentText
	questionnaire record.ID
	lots          []lot
	orders        map[record.ID]standing
	visits, vials int
}

// hashCost is cheap: the passwords are printed.
func hashCost() auth.Cost { return auth.Cost{MemoryKiB: 8 << 10, Passes: 1, Lanes: 1} }

func newWorld(seed uint64, patients int) (*world, error) {
	w := &world{
		seed: seed, size: patients, dice: newDice(seed, "world"), clock: &clock{}, staff: staff(), transport: &http.Transport{},
		consentTexts: map[string]consentText{}, orders: map[record.ID]standing{},
	}
	var err error
	if w.schema, err = record.NewSchema(schema.Records()...); err != nil {
		return nil, err
	}
	w.chart = chart.New(w.schema, w)
	edition, err := formulary.Builtin()
	w.book = book{edition}
	return w, err
}

// openServer opens a server that takes ids and keys from the seed.
func (w *world) openServer(ctx context.Context, data, listen string) error {
	c := server.Default()
	c.Data, c.Listen, c.Organisation, c.Clinic, c.Administrator = data, listen, organisationName, "Vellmouth", w.staff[ottoline].name
	c.HashCost, c.Now, c.Random, c.MinFreeBytes = hashCost(), w.clock.now, &lockedReader{d: newDice(w.seed, "server")}, -1
	c.StopWithin = 3 * time.Second
	var err error
	if w.server, err = server.Open(ctx, c); err != nil {
		return fmt.Errorf("open the demo's server: %w", err)
	}
	w.url = w.server.URL()
	return nil
}

// ErrNotEmpty says that a data folder holds something already. It may be somebody's real data, so it is not even opened.
var ErrNotEmpty = errors.New("the folder is not empty: give the demo a new one")

// found lets the first administrator in, by the link that the server prints at its first start.
func (w *world) found(ctx context.Context) (err error) {
	orgs, err := w.server.Service().Organisations(ctx)
	if err != nil {
		return err
	}
	if len(orgs) != 1 {
		return fmt.Errorf("%d organisations at the first start, want 1", len(orgs))
	}
	w.org = record.ID(orgs[0].ID)
	w.clinics = []clinic{{record.ID(orgs[0].Clinic), "Vellmouth"}, {w.dice.id(), "Tarnholt"}, {w.dice.id(), "Oreth"}}
	w.admin, err = w.claim(ctx, w.staff[ottoline], w.server.Link())
	return err
}

// adminIn signs the administrator in again, after time has passed.
func (w *world) adminIn(ctx context.Context) error {
	resp, err := w.access("").SignIn(ctx, &accessv1.SignInRequest{SignInName: w.staff[ottoline].signIn, Password: Password})
	if err != nil {
		return fmt.Errorf("sign %s in: %w", w.staff[ottoline].name, err)
	}
	w.admin = resp.GetTokens().GetAccessToken()
	return nil
}

// goTo puts the clock forward, and has the server do what that brings about.
func (w *world) goTo(ctx context.Context, at time.Time) error {
	w.clock.set(at)
	return w.server.Service().Maintain(ctx)
}

// settle makes what the organisation stands on: clinics, staff, texts, lots.
func (w *world) settle(ctx context.Context, t *tablet) error {
	admin := w.staff[ottoline]
	if err := t.exchange(ctx, admin); err != nil {
		return err
	}
	for i, c := range w.clinics {
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_CLINIC, ID: c.id}
		if err := t.write(admin, w.clock.now(), k, w.clinicRecord(t.dice, i)); err != nil {
			return err
		}
	}
	if err := t.exchange(ctx, admin); err != nil {
		return err
	}
	if err := w.hire(ctx); err != nil {
		return err
	}
	if err := t.exchange(ctx, admin); err != nil { // so that what staff write of their own records is seen
		return err
	}
	return errors.Join(w.describe(t), w.texts(t), w.makeLots(t))
}

func (w *world) clinicRecord(d *dice, i int) *chartv1.Clinic {
	admin, at := w.staff[ottoline], w.clock.now()
	m := &chartv1.Clinic{
		Name: &w.clinics[i].name, TimeZone: new("UTC"),
		Formulary: &chartv1.ClinicFormulary{Edition: w.editionReference(), Chosen: act(admin, at)},
		Emergency: &chartv1.EmergencyCard{Text: "Stop. Lay the patient flat, raise the legs, call for help.", Phone: "000", Written: act(admin, at)},
		Policies: &chartv1.ClinicPolicies{
			SharedVials: true, WasteWitness: true, BirthProof: true, ExaminationInPerson: true, YoungestYears: 18, Decided: act(admin, at),
		},
	}
	for _, code := range []string{"general_1_by_0_01", "insulin_u100_0_3_by_0_005"} {
		m.Syringes = append(m.Syringes, &chartv1.StockedSyringe{Id: d.id().String(), SyringeCode: &code})
	}
	m.StoragePlaces = []*chartv1.StoragePlaceEntry{{Id: d.id().String(), Place: &chartv1.StorageRange{
		Name: "fridge", LowestMillicelsius: new(int32(2000)), HighestMillicelsius: new(int32(8000)),
	}}}
	return m
}

// makeLots makes a lot of each product for every nine months, with a life of two years.
func (w *world) makeLots(t *tablet) error {
	for _, m := range mixings() {
		for months := 0; months <= 12*historyYears+9; months += 9 {
			from := w.founded().AddDate(0, months-1, 0)
			l := lot{t.dice.id(), m.product, fmt.Sprintf("%c%d", 'A'+t.dice.IntN(26), t.dice.between(10000, 99999)), from.AddDate(2, 0, 0)}
			k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_LOT, ID: l.id}
			r := &chartv1.Lot{
				Identity:  &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: &l.product, Number: l.number},
				ExpiresOn: date(l.expires), Supplier: new("Sound Wholesale"),
			}
			if err := t.write(w.staff[ines], from, k, r); err != nil {
				return err
			}
			w.lots = append(w.lots, l)
		}
	}
	return nil
}

// spaced is a name of the schema as people write it.
func spaced(name string) string {
	b := []byte(name)
	for i := range b {
		if b[i] == '_' {
			b[i] = ' '
		}
	}
	return string(b)
}

// dateText is a date for people.
func dateText(d *recordv1.Date) string { return day(d).Format("2 January 2006") }
