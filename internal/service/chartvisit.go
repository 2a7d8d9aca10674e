package service

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/visit"
)

// checkDeed refuses what an edit at the server may not do to a record as it stands: move a visit where its step or the caller's role does not let it, or
// change a text that was published. Edits of tablets are never refused for that: what was done with no signal was done, and merges.
func (d *desk) checkDeed(ctx context.Context, c chart.Change) error {
	if d.index.get(c.Key) == nil {
		return nil
	}
	r, err := d.ledger.Read(ctx, d.org, c.Key)
	if err != nil {
		return err
	}
	was, err := chart.Typed(r.State)
	if err != nil {
		return err
	}
	switch c.Key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_SESSION:
		return d.checkMove(was.GetSession(), c)
	case optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT, optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE, optionsv1.RecordKind_RECORD_KIND_PROTOCOL:
		if was.GetConsentText().GetPublished() != nil || was.GetQuestionnaire().GetPublished() != nil || was.GetProtocol().GetPublished() != nil {
			return d.checkPublished(c)
		}
	}
	return nil
}

// registers lists the registers that a change writes, as paths of EditRecord name them.
func (d *desk) registers(c chart.Change) (paths []string) {
	for i := range c.Writes {
		c.Writes[i].Each(func(r record.Register, _ []byte, _ bool) {
			paths = append(paths, d.chart.Schema().RegisterText(c.Key.Kind, r))
		})
	}
	return paths
}

// checkPublished lets a text that was published be withdrawn and remarked on, and nothing else.
func (d *desk) checkPublished(c chart.Change) error {
	for _, path := range d.registers(c) {
		if path != "withdrawn" && !strings.HasPrefix(path, "notes[") && !strings.HasPrefix(path, "settlements[") {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, path, "", "a draft: this text was published; write the new wording as another record")
		}
	}
	return nil
}

// checkMove asks the table of deeds when a change writes one new state of a visit. Several at once are a visit that is told after the fact.
func (d *desk) checkMove(was *chartv1.Session, c chart.Change) error {
	var moved []chartv1.SessionStep
	for _, s := range stepsIn(c) {
		if !slices.ContainsFunc(was.GetStates(), func(x *chartv1.SessionState) bool { return x.GetChange().GetStep() == s }) {
			moved = append(moved, s)
		}
	}
	if len(moved) != 1 {
		return nil
	}
	deeds := visit.DeedsTo(moved[0])
	var refusal error
	for _, deed := range deeds {
		if refusal = visit.May(deed, was, d.rolesAt(was.GetClinicId())...); refusal == nil {
			return nil
		}
	}
	return refusal
}

// stepsIn are the steps that a change writes.
func stepsIn(c chart.Change) (steps []chartv1.SessionStep) {
	st := record.NewState(c.Key)
	st.Apply(&record.Edit{Key: c.Key, Dot: madeUpDot(), Context: c.Context, Writes: c.Writes})
	part, err := chart.Typed(st)
	if err != nil {
		return nil
	}
	for _, s := range part.GetSession().GetStates() {
		steps = append(steps, s.GetChange().GetStep())
	}
	return steps
}

// rolesAt are the caller's roles at a clinic, those in the whole organisation among them.
func (d *desk) rolesAt(clinic string) (roles []accessv1.Role) {
	for _, p := range d.call.principal.Positions {
		if p.Clinic == uuid.Nil || clinic == "" || p.Clinic.String() == clinic {
			roles = append(roles, p.Roles...)
		}
	}
	return roles
}

// originOf is the server for a new record of a patient or a vial that is for practice, which no tablet may make: a mark set later would hide what was real.
// It is the device for everything else.
func (d *desk) originOf(c chart.Change) record.Origin {
	kind := c.Key.Kind
	if kind != optionsv1.RecordKind_RECORD_KIND_PATIENT && kind != optionsv1.RecordKind_RECORD_KIND_VIAL || d.index.get(c.Key) != nil {
		return record.FromDevice
	}
	if slices.Contains(d.registers(c), "practice") {
		return record.FromServer
	}
	return record.FromDevice
}
