package server_test

import (
	"bytes"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/rest"
	"needlebook/internal/service"
)

// documented is the document that a server serves, in a validator that is not ours (github.com/pb33f/libopenapi-validator).
func documented(t testing.TB, w *world) validator.Validator {
	t.Helper()
	resp, err := http.Get(w.url + rest.DocumentPath)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%d %v", resp.StatusCode, err)
	}
	doc, err := libopenapi.NewDocument(b)
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	return v
}

// TestDocument_IsOpenAPI: the document is valid by OpenAPI's own schema, and has every call of REST.
func TestDocument_IsOpenAPI(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	v := documented(t, w)
	if ok, errs := v.ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s", e)
		}
	}
	routes, err := rest.ReadRoutes(service.Services())
	if err != nil {
		t.Fatal(err)
	}
	doc := string(rest.Document())
	for _, route := range routes.All() {
		if !strings.Contains(doc, "\n  \""+route.Path+"\": {\n   \""+strings.ToLower(route.Verb)+"\": {") {
			t.Errorf("%s %s is not in the document", route.Verb, route.Path)
		}
	}
	if described := strings.Count(doc, `"operationId"`); described != len(routes.All()) {
		t.Errorf("%d calls are described, %d exist", described, len(routes.All()))
	}
}

// TestDocument_FitsTheServer holds real requests and answers against the document: what the server takes and gives fits, refusals included.
func TestDocument_FitsTheServer(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	v := documented(t, w)
	eve, lea := w.hire("eve", accessv1.Role_ROLE_INJECTOR), w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	w.tablet(eve)
	patient := uuid.NewString()
	for _, c := range []struct{ verb, path, token, body string }{
		{"POST", "/v1/tokens:signIn", "", `{"sign_in_name": "eve", "password": "` + password + `"}`},
		{"POST", "/v1/staff:add", w.admin.token, `{"request_id": "` + uuid.NewString() + `", "name": {"full": "Nia"}, "assignments": [{"roles": ["ROLE_ASSISTANT"]}]}`},
		{"GET", "/v1/staff?page_size=1", w.admin.token, ""},
		{"GET", "/v1/devices", w.admin.token, ""},
		{"POST", "/v1/records:edit", eve.token, `{"request_id": "` + uuid.NewString() + `", "update_mask": ["name"],
			"record": {"patient": {"id": "` + patient + `", "name": {"full": "Zora Test"}}}}`},
		{"POST", "/v1/patients:get", eve.token, `{"patient_id": "` + patient + `"}`},
		{"POST", "/v1/patients:search", eve.token, `{"text": "zor"}`},
		{"POST", "/v1/records:list", eve.token, `{"kind": "RECORD_KIND_STAFF"}`},
		{"POST", "/v1/records:getHistory", eve.token, `{"key": {"kind": "RECORD_KIND_PATIENT", "record_id": "` + patient + `"}}`},
		{"POST", "/v1/audit:list", lea.token, `{}`},
		{"POST", "/v1/doses:planDraw", eve.token, `{"product": "onabotulinumtoxinA", "vial": {"content_units": "100", "diluent_ml": "2.5"},
			"syringe": {"capacity_ml": "1", "graduation_ml": "0.01"}, "doses": [{"ref": "1", "dose_units": "4", "side": "SIDE_RIGHT"}]}`},
		{"POST", "/v1/products:compare", eve.token, `{"product": "onabotulinumtoxinA", "other_product": "abobotulinumtoxinA"}`},
		{"POST", "/v1/patients:get", "", `{"patient_id": "` + patient + `"}`},
		{"POST", "/v1/audit:list", eve.token, `{}`},
	} {
		r, err := http.NewRequestWithContext(t.Context(), c.verb, w.url+c.path, strings.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		if c.body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		if c.token != "" {
			r.Header.Set("Authorization", "Bearer "+c.token)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		t.Logf("%s %s: %d, %d bytes", c.verb, c.path, resp.StatusCode, len(answer))
		if refused := c.token == "" && c.path != "/v1/tokens:signIn" || strings.HasPrefix(c.path, "/v1/audit") && c.token == eve.token; (resp.StatusCode == 200) == refused {
			t.Errorf("%s %s: %d %s", c.verb, c.path, resp.StatusCode, answer)
		}
		if c.body != "" {
			r.Body = io.NopCloser(strings.NewReader(c.body))
			if ok, errs := v.GetRequestBodyValidator().ValidateRequestBody(r); !ok {
				t.Errorf("%s %s: the request: %v", c.verb, c.path, errs)
			}
		}
		resp.Body = io.NopCloser(bytes.NewReader(answer))
		if ok, errs := v.ValidateHttpResponse(r, resp); !ok {
			for _, e := range errs {
				t.Errorf("%s %s: the answer %s: %v", c.verb, c.path, answer, e)
				for _, s := range e.SchemaValidationErrors {
					t.Errorf("   %s", s)
				}
			}
		}
	}
}
