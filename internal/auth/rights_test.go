package auth

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	accessv1 "needlebook/gen/needlebook/access/v1"
	_ "needlebook/gen/needlebook/chart/v1"
	_ "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	_ "needlebook/gen/needlebook/sync/v1"
	_ "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/fault"
)

// rightsSpec is testdata/rights.txt.
type rightsSpec struct {
	actions map[string][]string // name, * included -> six cells
	kinds   map[string][]string
	calls   map[string]string
}

func readRights(t *testing.T) rightsSpec {
	t.Helper()
	b, err := os.ReadFile("testdata/rights.txt")
	if err != nil {
		t.Fatal(err)
	}
	s := rightsSpec{actions: map[string][]string{}, kinds: map[string][]string{}, calls: map[string]string{}}
	section := ""
	for n, line := range strings.Split(string(b), "\n") {
		f := strings.Fields(line)
		switch {
		case len(f) == 0 || strings.HasPrefix(f[0], "#"):
		case f[0] == "actions" || f[0] == "kinds" || f[0] == "calls":
			section = f[0]
		case section == "calls" && len(f) == 2:
			s.calls[f[0]] = f[1]
		case section == "actions" && len(f) == 7:
			s.actions[f[0]] = f[1:]
		case section == "kinds" && len(f) == 7:
			s.kinds[f[0]] = f[1:]
		default:
			t.Fatalf("rights.txt:%d: %q", n+1, line)
		}
	}
	return s
}

// action returns the six cells of an action and whether it needs a device.
func (s rightsSpec) action(name string) (cells []string, device bool) {
	if cells, ok := s.actions[name+"*"]; ok {
		return cells, true
	}
	return s.actions[name], false
}

// linkedCalls returns every RPC of the descriptors in this binary with its action.
func linkedCalls() map[string]optionsv1.Action {
	calls := map[string]optionsv1.Action{}
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				m := methods.Get(j)
				action := optionsv1.Action_ACTION_UNSPECIFIED
				if proto.HasExtension(m.Options(), optionsv1.E_Action) {
					action = proto.GetExtension(m.Options(), optionsv1.E_Action).(optionsv1.Action)
				}
				if strings.HasPrefix(string(m.FullName()), "needlebook.") {
					calls[string(f.Services().Get(i).FullName())+"/"+string(m.Name())] = action
				}
			}
		}
		return true
	})
	return calls
}

// TestEveryServiceIsLinked finds generated services that this test does not import and so would not walk.
func TestEveryServiceIsLinked(t *testing.T) {
	files, err := filepath.Glob("../../gen/needlebook/*/*/*.pb.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("no generated code: %v", err)
	}
	linked := linkedCalls()
	for _, file := range files {
		code, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(code), "NumServices:   0,") {
			continue
		}
		dir := strings.Split(filepath.ToSlash(filepath.Dir(file)), "/")
		prefix := strings.Join(dir[len(dir)-3:], ".") + "."
		found := false
		for call := range linked {
			found = found || strings.HasPrefix(call, prefix)
		}
		if !found {
			t.Errorf("%s has a service that is not linked into this test", file)
		}
	}
}

func TestEveryCallHasItsAction(t *testing.T) {
	spec, linked := readRights(t), linkedCalls()
	for call, action := range linked {
		switch want, ok := spec.calls[call]; {
		case action == optionsv1.Action_ACTION_UNSPECIFIED:
			t.Errorf("%s names no action", call)
		case !ok:
			t.Errorf("%s is not in testdata/rights.txt", call)
		case "ACTION_"+want != action.String():
			t.Errorf("%s: %s, want ACTION_%s", call, action, want)
		}
	}
	for call := range spec.calls {
		if _, ok := linked[call]; !ok {
			t.Errorf("testdata/rights.txt has %s, which does not exist", call)
		}
	}
}

func TestEveryActionAndKindIsSpecified(t *testing.T) {
	spec := readRights(t)
	for n, name := range optionsv1.Action_name {
		short := strings.TrimPrefix(name, "ACTION_")
		cells, _ := spec.action(short)
		_, inCode := rightTo(optionsv1.Action(n))
		outside := short == "UNSPECIFIED" || short == "PUBLIC"
		if (len(cells) == 6) == outside || inCode == outside {
			t.Errorf("%s: in rights.txt %v, in code %v", name, len(cells) == 6, inCode)
		}
	}
	for n, name := range optionsv1.RecordKind_name {
		short := strings.TrimPrefix(name, "RECORD_KIND_")
		_, inCode := rightToKind(optionsv1.RecordKind(n))
		if got := len(spec.kinds[short]) == 6; got == (n == 0) || inCode == (n == 0) {
			t.Errorf("%s: in rights.txt %v, in code %v", name, got, inCode)
		}
	}
}

// column is a role's place in rights.txt, or -1.
func column(r accessv1.Role) int { return int(r) - 1 }

// want is what rights.txt says of one cell, as a reason; 0 for allowed.
func (s rightsSpec) want(action string, role accessv1.Role, x cell) faultv1.Reason {
	const denied = faultv1.Reason_REASON_NOT_ALLOWED
	if action == "PUBLIC" {
		return 0
	}
	if x.relation == OtherOrganisation {
		return faultv1.Reason_REASON_NOT_FOUND
	}
	cells, device := s.action(action)
	if role == 0 || cells == nil || device && !x.device {
		return denied
	}
	reach := cells[column(role)]
	kindCell := s.kinds[strings.TrimPrefix(x.kind.String(), "RECORD_KIND_")]
	needs := map[string]string{"READ_CHART": "r", "EDIT_CHART": "w", "SETTLE": "w"}[action]
	if needs != "" && !(x.kind == 0 && x.relation == NoRecord) && (kindCell == nil || !strings.Contains(kindCell[column(role)], needs)) {
		return denied
	}
	if reach == "-" {
		return denied
	}
	if x.relation != SharedClinic || reach == "org" || reach == "reason" && x.opened {
		return 0
	}
	return denied
}

// cell is one combination to try.
type cell struct {
	relation Relation
	opened   bool
	device   bool
	kind     optionsv1.RecordKind
}

func cells() (out []cell) {
	for _, relation := range []Relation{OtherOrganisation, SharedClinic, OwnClinic, NoRecord} {
		for _, opened := range []bool{false, true} {
			for _, device := range []bool{false, true} {
				for n := range optionsv1.RecordKind_name {
					out = append(out, cell{relation, opened, device, optionsv1.RecordKind(n)})
				}
			}
		}
	}
	return out
}

// TestEveryCallTimesEveryRole walks every RPC linked into the binary x every role x every relation, grant, device and kind.
func TestEveryCallTimesEveryRole(t *testing.T) {
	spec := readRights(t)
	tried := 0
	for call, action := range linkedCalls() {
		name := strings.TrimPrefix(action.String(), "ACTION_")
		for n := range accessv1.Role_name {
			role := accessv1.Role(n)
			for _, x := range cells() {
				p := Principal{Staff: uuid.New(), Org: ada().Org, Positions: []Position{{Clinic: clinicA, Roles: []accessv1.Role{role}}}}
				if x.device {
					p.Device = uuid.New()
				}
				s := Subject{Relation: x.relation, Kind: x.kind, Opened: x.opened}
				if x.relation == OwnClinic {
					s.Clinics = []uuid.UUID{clinicA}
				} else if x.relation == SharedClinic {
					s.Clinics = []uuid.UUID{clinicB}
				}
				tried++
				if got, want := reasonOf(Decide(p, action, s)), spec.want(name, role, x); got != want {
					t.Errorf("%s as %s, %+v: %s, want %s", call, role, x, got, want)
				}
			}
		}
		if got := reasonOf(Decide(Principal{}, action, Subject{Relation: NoRecord})); (got == 0) != (name == "PUBLIC") {
			t.Errorf("%s with nobody signed in: %s", call, got)
		}
	}
	t.Logf("%d cells", tried)
}

func reasonOf(err error) faultv1.Reason {
	if e := fault.Of(err); e != nil {
		return e.Reason
	}
	if err != nil {
		return -1
	}
	return 0
}

func TestUnknownActionsRolesAndKindsAreDenied(t *testing.T) {
	p := Principal{Staff: uuid.New(), Org: ada().Org, Device: uuid.New(), Positions: []Position{{Roles: []accessv1.Role{1, 2, 3, 4, 5, 6}}}}
	for _, a := range []optionsv1.Action{0, -1, 18, 9999} {
		if err := Decide(p, a, Subject{Relation: OwnClinic}); reasonOf(err) != faultv1.Reason_REASON_NOT_ALLOWED {
			t.Errorf("action %d: %v", a, err)
		}
	}
	for _, r := range []accessv1.Role{0, -1, 7, 16, 40} {
		if MayEdit([]accessv1.Role{r}, optionsv1.RecordKind_RECORD_KIND_PATIENT) || everyone.has([]accessv1.Role{r}) {
			t.Errorf("role %d is in the table", r)
		}
	}
	if MayEdit(p.Roles(), 0) || MayRead(p.Roles(), 99) {
		t.Error("an unknown kind is open")
	}
}

// TestRolesCountWhereTheyAreHeld: front desk at one clinic and injector at another must not read charts of the first as an injector.
func TestRolesCountWhereTheyAreHeld(t *testing.T) {
	p := Principal{Staff: uuid.New(), Org: ada().Org, Positions: []Position{
		{Clinic: clinicA, Roles: []accessv1.Role{accessv1.Role_ROLE_FRONT_DESK}}, {Clinic: clinicB, Roles: []accessv1.Role{accessv1.Role_ROLE_INJECTOR}}}}
	read, session := optionsv1.Action_ACTION_READ_CHART, optionsv1.RecordKind_RECORD_KIND_SESSION
	at := func(clinic uuid.UUID, opened bool) error {
		return Decide(p, read, Subject{Relation: p.Relate(p.Org, clinic), Clinics: []uuid.UUID{clinic}, Kind: session, Opened: opened})
	}
	if err := at(clinicB, false); err != nil {
		t.Errorf("where she is an injector: %v", err)
	}
	if err := at(clinicA, false); reasonOf(err) != faultv1.Reason_REASON_NOT_ALLOWED {
		t.Errorf("where she is at the front desk: %v", err)
	}
	third := uuid.New()
	if err := at(third, false); reasonOf(err) != faultv1.Reason_REASON_NOT_ALLOWED || fault.Of(err).Meta["needs"] != "break_glass" {
		t.Errorf("a third clinic without a reason: %v", err)
	}
	if err := at(third, true); err != nil {
		t.Errorf("a third clinic with a reason: %v", err)
	}
}

func TestRelate(t *testing.T) {
	org := ada().Org
	p := Principal{Staff: uuid.New(), Org: org, Positions: []Position{{Clinic: clinicA, Roles: []accessv1.Role{1}}}}
	whole := Principal{Staff: uuid.New(), Org: org, Positions: []Position{{Roles: []accessv1.Role{1}}}}
	for _, c := range []struct {
		p       Principal
		org     uuid.UUID
		clinics []uuid.UUID
		want    Relation
	}{
		{p, org, []uuid.UUID{clinicA}, OwnClinic}, {p, org, []uuid.UUID{clinicB}, SharedClinic}, {p, org, []uuid.UUID{clinicB, clinicA}, OwnClinic},
		{p, org, nil, OwnClinic}, {whole, org, []uuid.UUID{clinicB}, OwnClinic}, {p, uuid.New(), []uuid.UUID{clinicA}, OtherOrganisation},
		{p, uuid.Nil, nil, OtherOrganisation}, {Principal{}, uuid.Nil, nil, OtherOrganisation},
	} {
		if got := c.p.Relate(c.org, c.clinics...); got != c.want {
			t.Errorf("%v at %v: %d, want %d", c.clinics, c.p.Positions, got, c.want)
		}
	}
}

// TestMissingAndForeignLookTheSame: the answers are equal in every field and print alike.
func TestMissingAndForeignLookTheSame(t *testing.T) {
	p := Principal{Staff: uuid.New(), Org: ada().Org, Positions: []Position{{Roles: []accessv1.Role{1}}}}
	kind := optionsv1.RecordKind_RECORD_KIND_PATIENT
	missing := Decide(p, optionsv1.Action_ACTION_READ_CHART, Subject{Relation: p.Relate(uuid.Nil), Kind: kind})
	foreign := Decide(p, optionsv1.Action_ACTION_READ_CHART, Subject{Relation: p.Relate(uuid.New(), clinicB), Clinics: []uuid.UUID{clinicB}, Kind: kind})
	if fmt.Sprintf("%#v", *fault.Of(missing)) != fmt.Sprintf("%#v", *fault.Of(foreign)) {
		t.Errorf("%#v\n%#v", missing, foreign)
	}
}
