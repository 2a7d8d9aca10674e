package guard

import (
	"slices"

	accessv1 "needlebook/gen/needlebook/access/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Rule is one code with what belongs to it.
type Rule struct {
	// Code is its stable name.
	Code string
	// Level is the strongest that it speaks at; a figure's own level or its source may make it weaker.
	Level formularyv1.Level
	// Lift is who may lift it when it is a hold.
	Lift Lift
	// Trips says what raises it, for people.
	Trips string
	// Source is where the rule comes from: the formulary's list that carries the figures, the record, or a habit of the trade.
	Source string
}

// Lift is who may lift a hold.
type Lift struct {
	// Roles may lift it, each by this role; none means nobody may.
	Roles []accessv1.Role
	// Supervisor asks for someone other than the injector, credentialled for the region without supervision.
	Supervisor bool
	// Never is true where no edition may open it to anybody.
	Never bool
}

// Lowest is the weakest level that a clinic's edition may give the code; its own where none. What protects the patient's identity, consent, order and vial
// is not on the list, nor what would hide that something was not checked.
func (r Rule) Lowest() formularyv1.Level {
	switch r.Code {
	case CodeSlip, CodeProductMixed:
		return caution
	case CodeAboveRange, CodeSidesUnequal, CodeSmall, CodeCoolingUnset, CodeVialElsewhere:
		return note
	}
	return r.Level
}

const (
	hold    = formularyv1.Level_LEVEL_HOLD
	caution = formularyv1.Level_LEVEL_CAUTION
	note    = formularyv1.Level_LEVEL_NOTE
)

const (
	byRecord   = "the record"
	byPolicy   = "the clinic's policies"
	byPractice = "common practice, no source"
)

// never is a hold that nobody may lift, whatever an edition says: what is wrong must be put right.
func never() Lift { return Lift{Never: true} }

// nobody is a hold that nobody may lift by the built-in table; an edition may name a role.
func nobody() Lift { return Lift{} }

func lead() Lift { return Lift{Roles: []accessv1.Role{accessv1.Role_ROLE_MEDICAL_LEAD}} }

// injector is a soft stop: the injector goes on with a reason.
func injector() Lift {
	return Lift{Roles: []accessv1.Role{accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD}}
}

func supervisor() Lift {
	return Lift{Roles: []accessv1.Role{accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD}, Supervisor: true}
}

// Rules is the table of codes, by topic. A code is never used for something else.
func Rules() []Rule { return slices.Clone(rules) }

// RuleOf finds the rule of a code.
func RuleOf(code string) (Rule, bool) {
	for i := range rules {
		if rules[i].Code == code {
			return rules[i], true
		}
	}
	return Rule{}, false
}
