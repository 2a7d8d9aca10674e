package rest_test

import (
	"flag"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	"google.golang.org/genproto/googleapis/api/annotations"

	_ "needlebook/gen/needlebook/access/v1"
	_ "needlebook/gen/needlebook/chart/v1"
	_ "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	_ "needlebook/gen/needlebook/sync/v1"
	_ "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/fault"
	"needlebook/internal/rest"
)

//go:generate go test . -run TestTable -update

var update = flag.Bool("update", false, "write the table of docs/rest.md")

const documentPath = "../../docs/rest.md"

// services are all services of the schema.
func services() (out []protoreflect.ServiceDescriptor) {
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			if strings.HasPrefix(string(f.Package()), "needlebook.") {
				out = append(out, f.Services().Get(i))
			}
		}
		return true
	})
	return out
}

func routes(t *testing.T) rest.Routes {
	t.Helper()
	r, err := rest.ReadRoutes(services())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestEveryCallHasAnAddress(t *testing.T) {
	r := routes(t)
	reached := map[string]bool{}
	for _, route := range r.All() {
		reached[route.Procedure] = true
		if again, ok := rest.AgainOf(route.Method); !ok {
			t.Errorf("%s: nothing says whether it may be made again: give it a request_id, or a name that says that it reads (%s)", route.Procedure, again)
		}
		if found, ok := r.Find(route.Path); !ok || found.Procedure != route.Procedure {
			t.Errorf("%s leads to %s", route.Path, found.Procedure)
		}
	}
	for _, s := range services() {
		for i := range s.Methods().Len() {
			if name := "/" + string(s.FullName()) + "/" + string(s.Methods().Get(i).Name()); !reached[name] {
				t.Errorf("%s has no google.api.http annotation", name)
			}
		}
	}
}

// TestAgain_ChangesAreKnownAgain: a call whose action changes something and that is not of the sync must carry a request_id.
func TestAgain_ChangesAreKnownAgain(t *testing.T) {
	for _, route := range routes(t).All() {
		again, _ := rest.AgainOf(route.Method)
		switch action := proto.GetExtension(route.Method.Options(), optionsv1.E_Action).(optionsv1.Action); action {
		case optionsv1.Action_ACTION_EDIT_CHART, optionsv1.Action_ACTION_SETTLE, optionsv1.Action_ACTION_SIGN, optionsv1.Action_ACTION_BREAK_GLASS:
			if again != rest.AgainSame {
				t.Errorf("%s of %s: %q", route.Procedure, action, again)
			}
		}
	}
}

func TestTable(t *testing.T) {
	b, err := os.ReadFile(documentPath)
	if err != nil {
		t.Fatal(err)
	}
	between := regexp.MustCompile(`(?s)<!-- table -->\n.*<!-- end -->`)
	want := between.ReplaceAllLiteralString(string(b), "<!-- table -->\n"+rest.Table(routes(t))+"<!-- end -->")
	if *update {
		if err := os.WriteFile(documentPath, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if want != string(b) {
		t.Error("the table of docs/rest.md differs from the schema; run go generate ./internal/rest")
	}
}

// service makes a service with one call that has a rule and an action.
func service(t *testing.T, rule *annotations.HttpRule, action optionsv1.Action) protoreflect.ServiceDescriptor {
	t.Helper()
	options := &descriptorpb.MethodOptions{}
	proto.SetExtension(options, annotations.E_Http, rule)
	proto.SetExtension(options, optionsv1.E_Action, action)
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("x.proto"), Package: proto.String("x"), Syntax: proto.String("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{Name: proto.String("M")}},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("S"), Method: []*descriptorpb.MethodDescriptorProto{
			{Name: proto.String("Open"), InputType: proto.String(".x.M"), OutputType: proto.String(".x.M"), Options: options},
		}}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return file.Services().Get(0)
}

func TestReadRoutes_RefusesWhatIsPromisedNeverToBe(t *testing.T) {
	post := func(path, body string) *annotations.HttpRule {
		return &annotations.HttpRule{Pattern: &annotations.HttpRule_Post{Post: path}, Body: body}
	}
	get := &annotations.HttpRule{Pattern: &annotations.HttpRule_Get{Get: "/v1/patients"}}
	for name, c := range map[string]struct {
		rule   *annotations.HttpRule
		action optionsv1.Action
	}{
		"GET of a patient":         {get, optionsv1.Action_ACTION_READ_CHART},
		"GET of the audit log":     {get, optionsv1.Action_ACTION_READ_AUDIT},
		"GET of what is reckoned":  {get, optionsv1.Action_ACTION_RECKON},
		"an id in the path":        {post("/v1/patients/{patient_id}", "*"), optionsv1.Action_ACTION_READ_CHART},
		"part of the request":      {post("/v1/patients:get", "patient_id"), optionsv1.Action_ACTION_READ_CHART},
		"no body":                  {post("/v1/patients:get", ""), optionsv1.Action_ACTION_READ_CHART},
		"outside":                  {post("/patients:get", "*"), optionsv1.Action_ACTION_READ_CHART},
		"another verb":             {&annotations.HttpRule{Pattern: &annotations.HttpRule_Delete{Delete: "/v1/patients"}}, optionsv1.Action_ACTION_READ_CHART},
		"part of the answer":       {&annotations.HttpRule{Pattern: post("/v1/a", "").Pattern, Body: "*", ResponseBody: "x"}, optionsv1.Action_ACTION_READ_CHART},
		"a second way to the same": {&annotations.HttpRule{Pattern: post("/v1/a", "").Pattern, Body: "*", AdditionalBindings: []*annotations.HttpRule{get}}, 3},
	} {
		if _, err := rest.ReadRoutes([]protoreflect.ServiceDescriptor{service(t, c.rule, c.action)}); err == nil {
			t.Errorf("%s passes", name)
		}
	}
	one := service(t, post("/v1/a", "*"), optionsv1.Action_ACTION_READ_CHART)
	if _, err := rest.ReadRoutes([]protoreflect.ServiceDescriptor{one}); err != nil {
		t.Error(err)
	}
	if _, err := rest.ReadRoutes([]protoreflect.ServiceDescriptor{one, one}); err == nil {
		t.Error("one path twice passes")
	}
}

// TestPages: each is there, loads nothing from elsewhere, and every link within it leads somewhere.
func TestPages(t *testing.T) {
	pages := rest.Pages()
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		if w.Code != http.StatusOK {
			t.Errorf("%s: %d", path, w.Code)
		}
		return w
	}
	link := regexp.MustCompile(`(?:href|src)="([^"]*)"`)
	anchor := regexp.MustCompile(` id="([^"]*)"`)
	for _, path := range []string{rest.DocsPath, rest.DocsPath + "/", rest.ErrorsPath} {
		w := get(path)
		body := w.Body.String()
		if policy := w.Header().Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s: policy %q", path, policy)
		}
		if strings.Contains(body, "style=") || strings.Contains(body, "onclick") || strings.Contains(body, "ZgotmplZ") {
			t.Errorf("%s holds what its policy forbids", path)
		}
		anchors := map[string]bool{}
		for _, m := range anchor.FindAllStringSubmatch(body, -1) {
			anchors[m[1]] = true
		}
		for _, m := range link.FindAllStringSubmatch(body, -1) {
			switch to, isAnchor := strings.CutPrefix(m[1], "#"); {
			case isAnchor && !anchors[to]:
				t.Errorf("%s: %s leads nowhere", path, m[1])
			case !isAnchor && !strings.HasPrefix(m[1], "/"):
				t.Errorf("%s: %s leads elsewhere", path, m[1])
			case !isAnchor:
				get(m[1])
			}
		}
	}
	body := get(rest.DocsPath).Body.String()
	for _, route := range routes(t).All() {
		if !strings.Contains(body, route.Verb+" "+route.Path) {
			t.Errorf("the page lacks %s", route.Path)
		}
	}
	t.Logf("the page has %d bytes", len(body))
}

// TestProblem_EveryReason: each reason of the catalogue is whole as a problem, and its page has the anchor that its type names.
func TestProblem_EveryReason(t *testing.T) {
	w := httptest.NewRecorder()
	rest.Pages().ServeHTTP(w, httptest.NewRequest(http.MethodGet, rest.ErrorsPath, nil))
	for _, e := range fault.Entries() {
		status := rest.StatusOf(e.Reason, e.Class)
		p := rest.NewProblem([]*fault.Error{fault.New(e.Reason, "name", "x", "y")}, status, string(e.Class), "name: text", "c", 0)
		_, id, _ := strings.Cut(p.Type, "#")
		if !strings.Contains(w.Body.String(), `id="`+id+`"`) || p.Cause == "" || p.Fix == "" || p.Title == "" || p.Again != e.Retry || status < 400 {
			t.Errorf("%s: %+v", fault.Name(e.Reason), p)
		}
	}
	odd := rest.NewProblem([]*fault.Error{fault.New(faultv1.Reason(9999), "", "", "")}, 500, "internal", "", "", 0)
	if odd.Reason != "INTERNAL" {
		t.Errorf("a reason that the catalogue lacks: %+v", odd)
	}
}
