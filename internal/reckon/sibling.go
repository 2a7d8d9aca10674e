package reckon

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// siblings are the registers of one record that have more than one value, by path; nil for a record without.
type siblings map[string]*conflict

// conflict is one register with all its values as JSON, "null" for an emptied one. field is where the request holds it.
type conflict struct {
	field  string
	values []string
}

// readConflicts sorts the conflicts of a request by record.
func (r *reader) readConflicts(list []*dosev1.PathSiblings) map[string]siblings {
	if len(list) > mostConflicts {
		r.refuse(badField, "facts.conflicts", strconv.Itoa(len(list)), "at most 500 registers")
		return nil
	}
	var all map[string]siblings
	for i, p := range list {
		field := "facts.conflicts[" + strconv.Itoa(i) + "]"
		if kind := p.GetKey().GetKind(); kind != optionsv1.RecordKind_RECORD_KIND_SESSION && kind != optionsv1.RecordKind_RECORD_KIND_PATIENT {
			r.refuse(badField, field+".key.kind", kind.String(), "RECORD_KIND_SESSION or RECORD_KIND_PATIENT")
			continue
		}
		if p.GetPath() == "" || len(p.GetValuesJson()) == 0 || len(p.GetValuesJson()) > mostSiblings {
			r.refuse(badField, field, "", "a path, and 1 to 64 values")
			continue
		}
		if all == nil {
			all = make(map[string]siblings)
		}
		id := p.GetKey().GetRecordId()
		if all[id] == nil {
			all[id] = make(siblings)
		}
		all[id][p.GetPath()] = &conflict{field + ".values_json", p.GetValuesJson()}
	}
	return all
}

// doubtful says whether more than one value of a register is told.
func (s siblings) doubtful(path string) bool {
	c := s[path]
	return c != nil && len(c.values) > 1
}

// optionsOf is what a register may hold: each of its values in conflict, else the value that the record shows. Values that are none are refused.
func optionsOf[V any](r *reader, s siblings, path string, shown V, parse func(string) (V, bool)) []V {
	c := s[path]
	if c == nil {
		return []V{shown}
	}
	var out []V
	for i, text := range c.values {
		v, ok := parse(text)
		if !ok {
			r.refuse(badField, c.field+"["+strconv.Itoa(i)+"]", "", "a value of "+lastName(path)+" as JSON, or null")
			continue
		}
		out = append(out, v)
	}
	if len(out) == 0 {
		return []V{shown}
	}
	return out
}

func lastName(path string) string { return path[strings.LastIndexByte(path, '.')+1:] }

// parseMessage reads a message from JSON; null is a nil one.
func parseMessage[M proto.Message](text string) (M, bool) {
	var none M
	if text == "null" {
		return none, true
	}
	m := none.ProtoReflect().Type().New().Interface().(M)
	return m, protojson.Unmarshal([]byte(text), m) == nil
}

// parseText reads a text; null is nil.
func parseText(text string) (*string, bool) {
	var s *string
	return s, json.Unmarshal([]byte(text), &s) == nil
}

// parseTextValue reads a text; null is empty.
func parseTextValue(text string) (string, bool) {
	s, ok := parseText(text)
	if s == nil {
		return "", ok
	}
	return *s, ok
}

// parseEnum reads the name of an enum's value; null is zero.
func parseEnum(numbers map[string]int32) func(string) (int32, bool) {
	return func(text string) (int32, bool) {
		s, ok := parseText(text)
		if s == nil {
			return 0, ok
		}
		n, known := numbers[*s]
		return n, known
	}
}

// elements is the ids of a collection at a prefix such as "injections" that only registers in conflict name, so that the record does not show them.
func (s siblings) elements(prefix string, shown func(id string) bool) []string {
	var ids []string
	for path := range s {
		rest, ok := strings.CutPrefix(path, prefix+"[")
		id, _, closed := strings.Cut(rest, "]")
		if ok && closed && !shown(id) && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids
}

// allInjections are the injections of a session, those among them that only conflicts name.
func (s siblings) allInjections(session *chartv1.Session) []*chartv1.Injection {
	if s == nil {
		return session.GetInjections()
	}
	all := session.GetInjections()
	for _, id := range s.elements("injections", func(id string) bool {
		return slices.ContainsFunc(session.GetInjections(), func(i *chartv1.Injection) bool { return i.GetId() == id })
	}) {
		all = append(all[:len(all):len(all)], &chartv1.Injection{Id: id})
	}
	return all
}

// allGivings are the givings of an injection, those among them that only conflicts name.
func (s siblings) allGivings(injection *chartv1.Injection) []*chartv1.Giving {
	if s == nil {
		return injection.GetGivings()
	}
	all := injection.GetGivings()
	for _, id := range s.elements("injections["+injection.GetId()+"].givings", func(id string) bool {
		return slices.ContainsFunc(injection.GetGivings(), func(g *chartv1.Giving) bool { return g.GetId() == id })
	}) {
		all = append(all[:len(all):len(all)], &chartv1.Giving{Id: id})
	}
	return all
}

// allReports are the treatments reported from elsewhere, those among them that only conflicts name.
func (s siblings) allReports(patient *chartv1.Patient) []*chartv1.PriorTreatment {
	if s == nil {
		return patient.GetPriorTreatments()
	}
	all := patient.GetPriorTreatments()
	for _, id := range s.elements("prior_treatments", func(id string) bool {
		return slices.ContainsFunc(patient.GetPriorTreatments(), func(p *chartv1.PriorTreatment) bool { return p.GetId() == id })
	}) {
		all = append(all[:len(all):len(all)], &chartv1.PriorTreatment{Id: id})
	}
	return all
}
