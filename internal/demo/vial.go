package demo

import (
	"fmt"
	"math/big"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
)

// openVial is a vial with its diluent, and what was drawn from it as far as whoever uses it knows.
type openVial struct {
	id          record.ID
	preparation record.ID
	mix         dose.Concentration
	left        dose.Volume
	mixedAt     time.Time
	mixedBy     *person
	// once is that nobody may rely on a time until when it may be used, so that it is thrown away after one visit.
	once bool
	// m is the record as far as it is not written yet.
	m *chartv1.Vial
}

func (o *openVial) key() record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_VIAL, ID: o.id}
}

// lot is a batch.
type lot struct {
	id      record.ID
	product string
	number  string
	expires time.Time
}

// openVial takes a vial from the fridge of a clinic and mixes it as the formulary's dilution says.
func (w *world) openVial(d *dice, product string, at time.Time, by *person, place int) (*openVial, error) {
	mix, dilution, err := w.book.mix(product)
	if err != nil {
		return nil, err
	}
	content, err := dose.NewAmount(dose.Product(product), int64(dilution.GetContentMilliunits()))
	if err != nil {
		return nil, err
	}
	diluent := dose.Volume(dilution.GetDiluentNanoliters())
	prepared, err := dose.Prepare(dose.Vial{Content: content, Diluent: diluent}, dose.Millilitre/100)
	if err != nil {
		return nil, err
	}
	lot := w.lotFor(product, at)
	o := &openVial{id: d.id(), preparation: d.id(), mix: prepared.Concentration, left: diluent, mixedAt: at, mixedBy: by}
	o.m = &chartv1.Vial{
		Presentation: &chartv1.VialPresentation{
			Product: product, ContentMilliunits: dilution.GetContentMilliunits(), PresentationCode: &mix.presentation,
		},
		Labelling: &chartv1.VialLabelling{
			LotNumber: lot.number, LotId: new(lot.id.String()), ExpiresOn: date(lot.expires), Serial: fmt.Sprintf("%08d", d.between(1, 99999999)),
			Reading: chartv1.LabelReading_LABEL_READING_HAND, Read: act(by, at),
		},
		ShortNumber: new(fmt.Sprintf("V%d", d.between(1000, 9999))), ClinicId: new(w.clinics[place].id.String()),
	}
	o.m.Entries = append(o.m.Entries, &chartv1.VialEntry{Id: d.id().String(), Piercing: &chartv1.Piercing{Sterile: true, Done: act(by, at)}})
	o.m.Preparations = []*chartv1.Preparation{{
		Id: o.preparation.String(),
		Diluent: &chartv1.Diluent{
			Kind: "sodium_chloride_0_9_preservative_free", VolumeNanoliters: int64(diluent), LotNumber: "NS-2207", AdviceCode: &mix.dilution,
		},
		Mixed: act(by, at), Clarity: &chartv1.Clarity{Finding: chartv1.ClarityFinding_CLARITY_FINDING_CLEAR, Seen: act(by, at)},
		UseBy: w.useBy(product, by, at),
	}}
	o.once = o.m.Preparations[0].GetUseBy() == nil
	return o, nil
}

// useBy is the first rule of the formulary for a product that permits anything; nil where none does, which means that the vial is thrown away after
// the visit.
func (w *world) useBy(product string, by *person, at time.Time) *chartv1.UseBy {
	for _, r := range w.book.UseByRules(product, "") {
		if !formulary.Clears(r.GetProvenance()) {
			continue
		}
		until := at.Add(time.Duration(r.GetSeconds()) * time.Second)
		return &chartv1.UseBy{Until: timestamppb.New(until), RuleCode: new(r.GetCode()), Edition: w.editionReference(), Set: act(by, at)}
	}
	return nil
}

// request is what PlanDraw is asked for injections from this vial, as they are planned.
func (o *openVial) request(spec *formularyv1.Syringe, ins []*chartv1.Injection) (dose.DrawRequest, error) {
	r := dose.DrawRequest{Concentration: o.mix, Syringe: dose.Syringe{
		Capacity: dose.Volume(spec.GetCapacityNanoliters()), Graduation: dose.Volume(spec.GetGraduationNanoliters()),
	}}
	if spec.GetInsulinScale() {
		r.Syringe.MarkVolume = dose.Millilitre / 100
	}
	for i, in := range ins {
		a, err := amountOf(in.GetPlanned())
		if err != nil {
			return r, err
		}
		r.Injections = append(r.Injections, dose.Injection{Ref: fmt.Sprint(i + 1), Muscle: in.GetMuscle(), Side: sideOf(in.GetSide()), Dose: a})
	}
	return r, nil
}

func amountOf(d *chartv1.Dose) (dose.Amount, error) {
	return dose.NewAmount(dose.Product(d.GetProduct()), int64(d.GetDoseMilliunits()))
}

func sideOf(s chartv1.Side) dose.Side {
	switch s {
	case right:
		return dose.SideRight
	case left:
		return dose.SideLeft
	case midline:
		return dose.SideMidline
	}
	return dose.SideNone
}

// drawUp draws one syringe: an element of the vial, and one of the session.
func (o *openVial) drawUp(d *dice, v *visit, spec *formularyv1.Syringe, filled dose.FilledSyringe,
	at time.Time) (*chartv1.SessionSyringe, *chartv1.Draw, error) {
	units, err := o.mix.UnitsIn(filled.DrawTo)
	if err != nil {
		return nil, nil, err
	}
	o.left -= filled.DrawTo
	s := &chartv1.SessionSyringe{Id: d.id().String(), Filling: &chartv1.SyringeFilling{
		SyringeCode: new(spec.GetCode()), CapacityNanoliters: spec.GetCapacityNanoliters(), GraduationNanoliters: spec.GetGraduationNanoliters(),
		VialId: o.id.String(), PreparationId: new(o.preparation.String()), DrawnNanoliters: int64(filled.Drawn),
	}, Drawn: act(v.by, at)}
	draw := &chartv1.Draw{Id: d.id().String(), Amount: &chartv1.DrawAmount{
		SessionId: v.id.String(), PreparationId: new(o.preparation.String()), SyringeId: &s.Id, VolumeNanoliters: int64(filled.DrawTo),
		DoseMilliunits: milliunits(units), SyringeCode: new(spec.GetCode()),
	}, Drawn: act(v.by, at)}
	o.m.Draws = append(o.m.Draws, draw)
	o.m.Entries = append(o.m.Entries, &chartv1.VialEntry{Id: d.id().String(), Piercing: &chartv1.Piercing{
		SessionId: new(v.id.String()), Sterile: true, Done: act(v.by, at),
	}})
	return s, draw, nil
}

// milliunits is an exact amount in thousandths of a unit, rounded half to even as the schema says of a draw.
func milliunits(a dose.ExactAmount) int32 {
	u := a.Units()
	n := new(big.Int).Mul(big.NewInt(u.Num()), big.NewInt(1000))
	q, r := new(big.Int).QuoRem(n, big.NewInt(u.Den()), new(big.Int))
	switch twice := r.Lsh(r, 1).Cmp(big.NewInt(u.Den())); {
	case twice > 0, twice == 0 && q.Bit(0) == 1:
		q.Add(q, big.NewInt(1))
	}
	return int32(q.Int64())
}

// taken is what was written of the vial since the last time, to be written by who drew.
func (o *openVial) taken() *chartv1.Vial {
	m := o.m
	o.m = &chartv1.Vial{}
	return m
}

// throwAway wastes what is left.
func (o *openVial) throwAway(d *dice, witness *person, at time.Time, why string) {
	cause := chartv1.DiscardCause_DISCARD_CAUSE_EMPTY
	if o.left > 0 {
		cause = chartv1.DiscardCause_DISCARD_CAUSE_LEFTOVER
		units, err := o.mix.UnitsIn(o.left)
		if err == nil {
			o.m.Wastes = append(o.m.Wastes, &chartv1.Waste{Id: d.id().String(), Amount: &chartv1.WasteAmount{
				VolumeNanoliters: new(int64(o.left)), DoseMilliunits: new(milliunits(units)), Reason: why,
				WitnessId: new(witness.id.String()), Done: act(o.mixedBy, at),
			}})
		}
	}
	o.m.Discarded = &chartv1.Discard{
		Cause: cause, LeftNanoliters: new(int64(max(0, o.left))), WitnessId: new(witness.id.String()), Done: act(o.mixedBy, at),
	}
}

// lotFor is the lot of a product that a clinic used at a time: the newest that was there.
func (w *world) lotFor(product string, at time.Time) lot {
	var out lot
	for _, l := range w.lots {
		if l.product == product && at.Before(l.expires) && (out.number == "" || l.expires.Before(out.expires)) {
			out = l
		}
	}
	return out
}
