package guard

import (
	"slices"
	"strconv"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// order says whether a prescriber's leave covers what is planned and given.
func (c *checker) order() {
	o := c.f.Order
	if c.f.Session.GetOrderId() == "" || o == nil || o.GetId() != c.f.Session.GetOrderId() {
		c.say(said{code: CodeOrderMissing, about: []string{"order_id"}, text: "There is no order for this visit, or its record is not known here."})
		return
	}
	about := []string{keyOf(optionsv1.RecordKind_RECORD_KIND_ORDER, o.GetId())}
	c.orderStands(o, about)
	c.orderDates(o, about)
	c.orderVoice(o, about)
	c.prescriber(o, about)
	c.coverage(o, about)
	c.repeats(o, about)
}

func (c *checker) orderStands(o *chartv1.Order, about []string) {
	standing := o.GetKind() == chartv1.OrderKind_ORDER_KIND_STANDING_ORDER
	if o.GetIssued() == nil {
		c.say(said{code: CodeOrderDraft, about: about, text: "The order is a draft: it was not issued and permits nothing."})
	}
	if o.GetWithdrawn() != nil {
		c.say(said{code: CodeOrderWithdrawn, about: about, text: "The order was withdrawn."})
	}
	if o.GetPatientId() != c.f.Session.GetPatientId() && !(standing && o.PatientId == nil) {
		c.say(said{code: CodeOrderOther, about: about, text: "The order is for another patient."})
	}
	if o.ClinicId != nil && o.GetClinicId() != c.f.Session.GetClinicId() {
		c.say(said{code: CodeOrderClinic, about: about, text: "The order is for another clinic."})
	}
	if standing {
		c.standing(o, about)
	}
	policies := c.f.Clinic.GetPolicies()
	inPerson := policies == nil || policies.GetExaminationInPerson()
	way := o.GetExamination().GetWay()
	if way == chartv1.ExaminationWay_EXAMINATION_WAY_UNSPECIFIED || inPerson && way != chartv1.ExaminationWay_EXAMINATION_WAY_IN_PERSON {
		level, text := hold, "The prescriber did not examine the patient face to face, as this clinic wants it."
		if !inPerson {
			level, text = caution, "No examination by the prescriber is recorded."
		}
		c.say(said{code: CodeOrderExamination, level: level, about: about, text: text})
	}
}

func (c *checker) standing(o *chartv1.Order, about []string) {
	if !slices.Contains(o.GetStanding().GetStaffIds(), c.f.Session.GetResponsibleId()) {
		c.say(said{code: CodeOrderStaff, about: about, text: "The standing order does not name the injector."})
	}
	born, ok := dayOf(c.f.Patient.GetBirth().GetDate())
	if years := int(o.GetStanding().GetYoungestYears()); !ok || afterYears(born, years) > c.day {
		c.say(said{code: CodeOrderAge, about: about, figures: []string{"youngest_years", strconv.Itoa(years)},
			text: "The standing order covers patients from " + strconv.Itoa(years) + " years; this patient is younger or her date of birth is not known."})
	}
}

func (c *checker) orderDates(o *chartv1.Order, about []string) {
	from, begins := dayOf(o.GetValidity().GetFrom())
	until, ends := dayOf(o.GetValidity().GetUntil())
	switch {
	case !begins || !ends:
		c.say(said{code: CodeOrderExpired, about: about, text: "The order does not say from when until when it holds."})
	case c.day > until:
		c.say(said{code: CodeOrderExpired, about: about, text: "The order expired on " + until.String() + "."})
	case c.day < from:
		c.say(said{code: CodeOrderExpired, about: about, text: "The order holds from " + from.String() + " on, not yet."})
	}
}

func (c *checker) orderVoice(o *chartv1.Order, about []string) {
	for _, change := range o.GetChanges() {
		at := append(slices.Clone(about), "changes["+change.GetId()+"]")
		if !change.GetChange().GetReadBack() {
			c.say(said{code: CodeOrderVoice, about: at, text: "A change of the order by voice was not read back and confirmed."})
		}
		if change.GetCountersigned() == nil {
			c.say(said{code: CodeOrderOwed, about: at, text: "The prescriber has not countersigned a change of the order by voice."})
		}
	}
}

func (c *checker) prescriber(o *chartv1.Order, about []string) {
	p := c.f.person(o.GetPrescriberId())
	if p == nil {
		c.say(said{code: CodePrescriberUnseen, about: about, text: "The record of the prescriber is not known here, so her right to prescribe was not checked."})
		return
	}
	until, ends := dayOf(p.GetPrescribes().GetExpiresOn())
	if p.GetPrescribes() == nil || p.GetSuspended() != nil || p.GetPrescribes().GetExpiresOn() != nil && (!ends || c.day > until) {
		c.say(said{code: CodePrescriber, about: about, text: "The prescriber's record does not say that she may prescribe on " + c.day.String() + "."})
	}
}

// leaves are what may be given: the lines that stand, and the changes by voice that were read back.
func leaves(o *chartv1.Order) []*chartv1.OrderLeave {
	var all []*chartv1.OrderLeave
	for _, l := range o.GetLines() {
		if l.GetWithdrawn() == nil && l.GetLeave() != nil {
			all = append(all, l.GetLeave())
		}
	}
	for _, v := range o.GetChanges() {
		if v.GetChange().GetReadBack() && v.GetChange().GetLeave() != nil {
			all = append(all, v.GetChange().GetLeave())
		}
	}
	return all
}

// coverage holds each product and muscle that no leave names, and what is more than all leaves of a product together. The leaves of one product that cover
// one injection are alternatives: the greatest of them counts, never their sum.
func (c *checker) coverage(o *chartv1.Order, about []string) {
	all := leaves(o)
	for _, product := range c.named {
		var most int64
		for _, l := range all {
			if l.GetProduct() == product {
				most = max(most, int64(l.GetMostMilliunits()))
			}
		}
		if total, _ := c.sum(product, func(*injection) bool { return true }); most > 0 && total > most {
			c.say(said{code: CodeOrderExceeded, about: about, of: product,
				figures: []string{"total_units", unitsDecimal(total), "most_units", unitsDecimal(most)},
				text: product + ", " + unitsText(product, total) + " in all, is more than the " + unitsText(product, most) +
					" that the order allows in a visit."})
		}
		var missing []string
		for k := range c.injections {
			i := &c.injections[k]
			if i.product != product || slices.ContainsFunc(all, func(l *chartv1.OrderLeave) bool { return c.allows(l, i) }) {
				continue
			}
			if name := c.body.text(i.muscle); !slices.Contains(missing, name) {
				missing = append(missing, name)
			}
		}
		if len(missing) > 0 {
			c.say(said{code: CodeOrderNotCovering, about: about, of: product, text: "The order does not cover " + product + " in: " + listText(missing) + "."})
		}
	}
}

func (c *checker) allows(l *chartv1.OrderLeave, i *injection) bool {
	if l.GetProduct() != i.product {
		return false
	}
	if len(l.GetMuscles()) > 0 && !slices.Contains(l.GetMuscles(), i.muscle) {
		return false
	}
	if len(l.GetRegions()) == 0 {
		return len(l.GetMuscles()) > 0
	}
	return slices.ContainsFunc(l.GetRegions(), func(r string) bool { return c.body.covers(r, i.muscle) })
}

// repeats counts the visits of the patient that gave something under the order.
func (c *checker) repeats(o *chartv1.Order, about []string) {
	if o.GetKind() == chartv1.OrderKind_ORDER_KIND_STANDING_ORDER {
		return
	}
	covers, used := max(int(o.GetRepeats()), 1), 0
	for _, s := range c.f.Earlier {
		if s.GetOrderId() == o.GetId() && s.GetId() != c.f.Session.GetId() && s.GetVoid() == nil && gaveAnything(s) {
			used++
		}
	}
	if used >= covers {
		c.say(said{code: CodeOrderUsedUp, about: about, figures: []string{"covers_count", strconv.Itoa(covers), "used_count", strconv.Itoa(used)},
			text: "The order covers " + strconv.Itoa(covers) + " visits and was used for " + strconv.Itoa(used) + " others."})
	}
}

func gaveAnything(s *chartv1.Session) bool {
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if g.GetVoid() == nil {
				return true
			}
		}
	}
	return false
}
