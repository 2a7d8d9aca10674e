package auth

import (
	accessv1 "needlebook/gen/needlebook/access/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// roles is a set of roles: bit n for the role of number n.
type roles uint16

const (
	injector      = roles(1) << accessv1.Role_ROLE_INJECTOR
	medicalLead   = roles(1) << accessv1.Role_ROLE_MEDICAL_LEAD
	assistant     = roles(1) << accessv1.Role_ROLE_ASSISTANT
	frontDesk     = roles(1) << accessv1.Role_ROLE_FRONT_DESK
	auditor       = roles(1) << accessv1.Role_ROLE_AUDITOR
	administrator = roles(1) << accessv1.Role_ROLE_ADMINISTRATOR

	clinical = injector | medicalLead | assistant
	everyone = clinical | frontDesk | auditor | administrator
)

// has reports whether the set holds one of the roles given.
func (s roles) has(given []accessv1.Role) bool {
	for _, r := range given {
		if r > 0 && r < 16 && s&(1<<r) != 0 {
			return true
		}
	}
	return false
}

// reach is how far a right goes beyond the clinics where its role is held.
type reach int

const (
	ownClinics   reach = iota // only records of those clinics
	withReason                // and, with an open break-glass grant, those of the organisation's other clinics
	organisation              // all of the organisation
)

// right is one row of the table of rights.
type right struct {
	roles roles
	reach reach
	// device is true when only an enrolled device may do it.
	device bool
}

// rightTo is the table of rights: who may do which action, and how far. What is not here is denied. ACTION_PUBLIC is decided before it.
func rightTo(a optionsv1.Action) (right, bool) {
	switch a {
	case optionsv1.Action_ACTION_RECKON:
		return right{roles: everyone, reach: organisation}, true
	case optionsv1.Action_ACTION_READ_CHART: // the kind decides further: MayRead
		return right{roles: everyone, reach: withReason}, true
	case optionsv1.Action_ACTION_EDIT_CHART: // the kind decides further: MayEdit
		return right{roles: clinical | frontDesk | administrator, reach: withReason}, true
	case optionsv1.Action_ACTION_SETTLE: // the kind decides further: MayEdit
		return right{roles: clinical | frontDesk | administrator, reach: withReason}, true
	case optionsv1.Action_ACTION_SIGN:
		return right{roles: injector | medicalLead, reach: ownClinics}, true
	case optionsv1.Action_ACTION_SYNC:
		return right{roles: clinical | frontDesk | administrator, reach: organisation, device: true}, true
	case optionsv1.Action_ACTION_JUDGE_HELD:
		return right{roles: medicalLead, reach: organisation}, true
	case optionsv1.Action_ACTION_TRACE: // a recall stops at no clinic's door
		return right{roles: injector | medicalLead, reach: organisation}, true
	case optionsv1.Action_ACTION_CLOSE_DAY:
		return right{roles: clinical, reach: ownClinics}, true
	case optionsv1.Action_ACTION_LIST_REVIEWS:
		return right{roles: clinical | frontDesk, reach: ownClinics}, true
	case optionsv1.Action_ACTION_EXPORT:
		return right{roles: medicalLead, reach: withReason}, true
	case optionsv1.Action_ACTION_MANAGE_DEVICES:
		return right{roles: administrator, reach: organisation}, true
	case optionsv1.Action_ACTION_BREAK_GLASS:
		return right{roles: clinical, reach: organisation}, true
	case optionsv1.Action_ACTION_READ_AUDIT:
		return right{roles: auditor | medicalLead, reach: organisation}, true
	case optionsv1.Action_ACTION_MANAGE_STAFF:
		return right{roles: administrator, reach: organisation}, true
	case optionsv1.Action_ACTION_READ_FIGURES: // injectors see their own: the handler decides whose
		return right{roles: injector | medicalLead | auditor, reach: organisation}, true
	}
	return right{}, false
}

// kindRight is who may read and who may write records of one kind.
type kindRight struct{ read, write roles }

// rightToKind is the second half of the table: who may read and write which kind of record. What is not here is denied.
func rightToKind(k optionsv1.RecordKind) (kindRight, bool) {
	switch k {
	case optionsv1.RecordKind_RECORD_KIND_PATIENT, optionsv1.RecordKind_RECORD_KIND_APPOINTMENT:
		return kindRight{read: clinical | frontDesk | auditor, write: clinical | frontDesk}, true
	case optionsv1.RecordKind_RECORD_KIND_ORDER:
		return kindRight{read: clinical | auditor, write: injector | medicalLead}, true
	case optionsv1.RecordKind_RECORD_KIND_SESSION, optionsv1.RecordKind_RECORD_KIND_VIAL, optionsv1.RecordKind_RECORD_KIND_PHOTO,
		optionsv1.RecordKind_RECORD_KIND_LOT, optionsv1.RecordKind_RECORD_KIND_ADVERSE_EVENT, optionsv1.RecordKind_RECORD_KIND_DAY_CLOSE:
		return kindRight{read: clinical | auditor, write: clinical}, true
	case optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT, optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE,
		optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION, optionsv1.RecordKind_RECORD_KIND_PROTOCOL:
		return kindRight{read: everyone, write: medicalLead}, true
	case optionsv1.RecordKind_RECORD_KIND_CLINIC, optionsv1.RecordKind_RECORD_KIND_STAFF:
		return kindRight{read: everyone, write: administrator}, true
	case optionsv1.RecordKind_RECORD_KIND_DEVICE: // its label: whoever sees a wrong name may put it right
		return kindRight{read: everyone, write: clinical | frontDesk | administrator}, true
	}
	return kindRight{}, false
}

// MayRead reports whether one of the roles may read records of a kind.
func MayRead(given []accessv1.Role, k optionsv1.RecordKind) bool {
	r, ok := rightToKind(k)
	return ok && r.read.has(given)
}

// MayEdit reports whether one of the roles may write records of a kind.
func MayEdit(given []accessv1.Role, k optionsv1.RecordKind) bool {
	r, ok := rightToKind(k)
	return ok && r.write.has(given)
}
