package visit

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
)

func (h Hand) mayOrder() error {
	if h.has(Injector, Lead) {
		return nil
	}
	return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "roles", rolesText(h.Roles), "to write an order: injector or medical lead")
}

// DraftOrder is a new order's record, whole, of what m holds. It permits nothing until its prescriber issues it. Its lines name products of the formulary and
// targets of the anatomy; their ids are made new.
func DraftOrder(h Hand, e *formulary.Edition, m *chartv1.Order) (*chartv1.Order, error) {
	if err := h.mayOrder(); err != nil {
		return nil, err
	}
	standing := m.GetKind() == chartv1.OrderKind_ORDER_KIND_STANDING_ORDER
	switch {
	case m.GetKind() == chartv1.OrderKind_ORDER_KIND_UNSPECIFIED:
		return nil, wrong("kind", "", "a prescription, a patient specific direction or a standing order")
	case standing == (m.PatientId != nil):
		return nil, wrong("patient_id", m.GetPatientId(), "a patient, and none in a standing order")
	case standing && (len(m.GetStanding().GetStaffIds()) == 0 || m.GetStanding().GetCriteria() == "" || m.GetStanding().GetYoungestYears() < adultYears):
		return nil, wrong("standing", "", "who may act on it, whom it covers in words, and from which age, 18 at the least")
	case standing && m.Jurisdiction == nil:
		return nil, wrong("jurisdiction", "", "where it was made, since a standing order is not lawful everywhere")
	case m.GetPrescriberId() == "":
		return nil, wrong("prescriber_id", "", "who prescribes")
	}
	fresh := proto.CloneOf(m)
	fresh.Id, fresh.Issued, fresh.Withdrawn, fresh.Changes = h.NewID(), nil, nil, nil
	for _, l := range fresh.GetLines() {
		l.Id = h.NewID()
		if err := checkLeave(e, "lines.leave", l.GetLeave()); err != nil {
			return nil, err
		}
	}
	return fresh, nil
}

func checkLeave(e *formulary.Edition, field string, l *chartv1.OrderLeave) error {
	if _, ok := e.Product(l.GetProduct()); !ok {
		return fault.New(faultv1.Reason_REASON_UNKNOWN_PRODUCT, field+".product", l.GetProduct(), "a product of the formulary")
	}
	if l.GetMostMilliunits() <= 0 || len(l.GetRegions())+len(l.GetMuscles()) == 0 {
		return wrong(field, "", "the most units in a visit, and the regions or the muscles")
	}
	for _, target := range slices.Concat(l.GetRegions(), l.GetMuscles()) {
		if !anatomy.KnownTarget(target) {
			return wrong(field+".regions", target, "a region, an area or a muscle as the anatomy names it")
		}
	}
	return nil
}

// IssueOrder issues a draft: only the prescriber herself does, and only where her record says that she may prescribe on that day. It needs lines, and from
// when until when it holds; how she examined is hers to say, and where the clinic wants it face to face that is asked before the needle.
func IssueOrder(h Hand, o *chartv1.Order, prescriber *accessv1.Staff, today *recordv1.Date, statement string) (*chartv1.Order, error) {
	from, errFrom := dayOf("validity.from", o.GetValidity().GetFrom())
	until, errUntil := dayOf("validity.until", o.GetValidity().GetUntil())
	switch {
	case o.GetIssued() != nil || o.GetWithdrawn() != nil:
		return nil, wrong("issued", "", "a draft that is not withdrawn")
	case h.By != o.GetPrescriberId():
		return nil, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "prescriber_id", o.GetPrescriberId(), "to issue an order: the prescriber herself")
	case prescriber.GetId() != h.By || !prescribes(prescriber, today):
		return nil, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "prescriber_id", h.By, "a person whose record says that she may prescribe")
	case len(o.GetLines()) == 0:
		return nil, wrong("lines", "", "what may be given")
	case errFrom != nil || errUntil != nil || until < from:
		return nil, wrong("validity", DateText(o.GetValidity().GetFrom()), "from when until when it holds")
	case statement == "":
		return nil, wrong("issued.statement", "", "what the prescriber confirms")
	}
	return &chartv1.Order{Id: o.GetId(), Issued: &chartv1.OrderIssue{Issued: h.Act(), Statement: statement, Digest: TextDigest(o)}}, nil
}

// prescribes reports whether a person may prescribe on a day.
func prescribes(p *accessv1.Staff, today *recordv1.Date) bool {
	if p.GetPrescribes() == nil || p.GetSuspended() != nil {
		return false
	}
	if p.GetPrescribes().GetExpiresOn() == nil {
		return true
	}
	last, err := dayOf("expires_on", p.GetPrescribes().GetExpiresOn())
	now, err2 := dayOf("on", today)
	return err == nil && err2 == nil && now <= last
}

// ChangeByVoice records a change of an order that its prescriber gave by voice. Whoever hears it is not the prescriber. A change that was not read back
// holds, and each is owed the prescriber's countersignature.
func ChangeByVoice(h Hand, e *formulary.Edition, o *chartv1.Order, text string, leave *chartv1.OrderLeave, readBack bool) (*chartv1.Order, error) {
	if err := h.mayOrder(); err != nil {
		return nil, err
	}
	switch {
	case o.GetIssued() == nil || o.GetWithdrawn() != nil:
		return nil, wrong("issued", "", "an order that was issued and is not withdrawn")
	case h.By == o.GetPrescriberId():
		return nil, wrong("changes.change.heard", h.By, "someone other than the prescriber; she changes the order in writing")
	case text == "":
		return nil, wrong("changes.change.text", "", "what was ordered, in words")
	}
	if leave != nil {
		if err := checkLeave(e, "changes.change.leave", leave); err != nil {
			return nil, err
		}
	}
	return &chartv1.Order{Id: o.GetId(), Changes: []*chartv1.VoiceChange{{Id: h.NewID(), Change: &chartv1.VoiceOrder{
		Text: text, Leave: leave, PrescriberId: o.GetPrescriberId(), Heard: h.Act(), ReadBack: readBack,
	}}}}, nil
}

// Countersign confirms a change by voice in writing: only the prescriber who gave it does, and only of one that was read back.
func Countersign(h Hand, o *chartv1.Order, change string) (*chartv1.Order, error) {
	for _, c := range o.GetChanges() {
		if c.GetId() != change {
			continue
		}
		switch {
		case c.GetChange().GetPrescriberId() != h.By:
			return nil, fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "changes.countersigned", h.By, "the prescriber who gave the change")
		case c.GetCountersigned() != nil:
			return nil, wrong("changes.countersigned", "", "a change that is not countersigned yet")
		}
		return &chartv1.Order{Id: o.GetId(), Changes: []*chartv1.VoiceChange{{Id: change, Countersigned: h.Act()}}}, nil
	}
	return nil, notThere("changes", change)
}

// WithdrawOrder ends an order, with the reason.
func WithdrawOrder(h Hand, o *chartv1.Order, reason string) (*chartv1.Order, error) {
	if err := h.mayOrder(); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("withdrawn.reason", "", "why it may not be used any more")
	}
	return &chartv1.Order{Id: o.GetId(), Withdrawn: h.void(reason)}, nil
}

// CountersignaturesOwed lists the changes by voice of an order that its prescriber has not confirmed, by their ids, ascending.
func CountersignaturesOwed(o *chartv1.Order) (ids []string) {
	for _, c := range o.GetChanges() {
		if c.GetChange() != nil && c.GetCountersigned() == nil {
			ids = append(ids, c.GetId())
		}
	}
	slices.SortFunc(ids, strings.Compare)
	return ids
}

// SetOrder names the order that permits a visit's injections. An order of another patient is refused; all else that speaks against it the guardrails say.
func SetOrder(h Hand, s *chartv1.Session, o *chartv1.Order) (*chartv1.Session, error) {
	if err := May(Plan, s, h.Roles...); err != nil {
		return nil, err
	}
	if o.PatientId != nil && o.GetPatientId() != s.GetPatientId() {
		return nil, wrong("order_id", o.GetId(), "an order for this patient")
	}
	out := part(s)
	out.OrderId = new(o.GetId())
	return out, nil
}
