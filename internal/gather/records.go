package gather

import (
	"encoding/json"
	"errors"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// ErrNone is that a host holds no such record.
var ErrNone = errors.New("the record is not here")

// WithheldError is that a host holds a record and its caller may not read it.
type WithheldError struct {
	// Clinics are where the record belongs; none when that is not known.
	Clinics []string
}

// Error says that it is withheld, and nothing of the record.
func (e *WithheldError) Error() string { return "the record may not be read" }

// Records is what a host holds, as its caller may read it. Ids are UUIDs in lower case.
type Records interface {
	// View is a record. ErrNone when the host has none, a *WithheldError when the caller may not read it. The caller changes nothing of it.
	View(kind optionsv1.RecordKind, id string) (*chartv1.RecordView, error)
	// Person lists the records of one person: the patient's own and those linked to it, directly or through another, whether they may be read or not.
	Person(patient string) []string
	// Sessions lists the sessions of one patient's record, those among them that may not be read.
	Sessions(patient string) []string
	// List lists the records of a kind that belongs to no patient, such as lots and clinics.
	List(kind optionsv1.RecordKind) []string
	// CompleteUntil is the moment before which everything that was recorded at a clinic is here; nil when that is not known.
	CompleteUntil(clinic string) *timestamppb.Timestamp
	// Clock is what is known of the clock that dates are judged by.
	Clock() dosev1.ClockState
}

// LotFinder is a host that finds lots by number without looking at each: those whose number or alias, in whatever value of a register in conflict, has the
// chart.LotKey of this one. ok is false when it cannot.
type LotFinder interface {
	Lots(number string) (ids []string, ok bool)
}

// Short names of the kinds.
const (
	kindSession       = optionsv1.RecordKind_RECORD_KIND_SESSION
	kindPatient       = optionsv1.RecordKind_RECORD_KIND_PATIENT
	kindOrder         = optionsv1.RecordKind_RECORD_KIND_ORDER
	kindVial          = optionsv1.RecordKind_RECORD_KIND_VIAL
	kindLot           = optionsv1.RecordKind_RECORD_KIND_LOT
	kindClinic        = optionsv1.RecordKind_RECORD_KIND_CLINIC
	kindStaff         = optionsv1.RecordKind_RECORD_KIND_STAFF
	kindConsentText   = optionsv1.RecordKind_RECORD_KIND_CONSENT_TEXT
	kindQuestionnaire = optionsv1.RecordKind_RECORD_KIND_QUESTIONNAIRE
	kindEdition       = optionsv1.RecordKind_RECORD_KIND_FORMULARY_EDITION
)

// view is a record that may be read; nil when it is not there or withheld, and then the clinics it was withheld of.
func view(r Records, kind optionsv1.RecordKind, id string) (v *chartv1.RecordView, withheld *WithheldError, err error) {
	if id == "" {
		return nil, nil, nil
	}
	v, err = r.View(kind, id)
	if errors.As(err, &withheld) || errors.Is(err, ErrNone) {
		return nil, withheld, nil
	}
	return v, nil, err
}

// ids are the values of the fields with this name anywhere in a record, those of registers in conflict among them, each once in the order of the record.
func ids(v *chartv1.RecordView, name string) []string {
	var found []string
	add := func(id string) {
		if id != "" && !slices.Contains(found, id) {
			found = append(found, id)
		}
	}
	walk(v.GetRecord().ProtoReflect(), protoreflect.Name(name), add)
	for _, c := range v.GetConflicts() {
		for _, s := range c.GetSiblings() {
			var value any
			if json.Unmarshal([]byte(s.GetValueJson()), &value) != nil {
				continue
			}
			if text, ok := value.(string); ok && lastName(c.GetPath()) == name {
				add(text)
			}
			walkJSON(value, name, add)
		}
	}
	return found
}

func walk(m protoreflect.Message, name protoreflect.Name, add func(string)) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		switch {
		case !m.Has(fd) || fd.IsMap():
		case fd.Name() == name && fd.Kind() == protoreflect.StringKind && !fd.IsList():
			add(m.Get(fd).String())
		case fd.Message() != nil && fd.IsList():
			for j := range m.Get(fd).List().Len() {
				walk(m.Get(fd).List().Get(j).Message(), name, add)
			}
		case fd.Message() != nil:
			walk(m.Get(fd).Message(), name, add)
		}
	}
}

func walkJSON(value any, name string, add func(string)) {
	switch v := value.(type) {
	case []any:
		for _, x := range v {
			walkJSON(x, name, add)
		}
	case map[string]any:
		if text, ok := v[name].(string); ok {
			add(text)
		}
		keys := make([]string, 0, len(v))
		for key := range v {
			keys = append(keys, key)
		}
		slices.Sort(keys)
		for _, key := range keys {
			walkJSON(v[key], name, add)
		}
	}
}

func lastName(path string) string {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '.' {
			return path[i+1:]
		}
	}
	return path
}

// heldOf is the record's key when an edit of it waits for a person.
func heldOf(v *chartv1.RecordView) []*chartv1.RecordKey {
	if len(v.GetHeldEdits()) == 0 {
		return nil
	}
	return []*chartv1.RecordKey{proto.CloneOf(v.GetHeldEdits()[0].GetKey())}
}

// siblingsOf are the registers in conflict of a record, as facts carry them.
func siblingsOf(v *chartv1.RecordView) []*dosev1.PathSiblings {
	var all []*dosev1.PathSiblings
	for _, c := range v.GetConflicts() {
		p := &dosev1.PathSiblings{Key: proto.CloneOf(c.GetKey()), Path: c.GetPath()}
		for _, s := range c.GetSiblings() {
			value := s.GetValueJson()
			if s.GetCleared() {
				value = "null"
			}
			p.ValuesJson = append(p.ValuesJson, value)
		}
		all = append(all, p)
	}
	return all
}
