package server_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/rest"
	"needlebook/internal/service"
)

// ask calls by REST. A refusal must be a problem.
func (w *world) ask(verb, path, token, body string) (answer, rest.Problem) {
	w.Helper()
	r, err := http.NewRequestWithContext(w.Context(), verb, w.url+path, strings.NewReader(body))
	if err != nil {
		w.Fatal(err)
	}
	if verb == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	return w.askWith(r)
}

func (w *world) askWith(r *http.Request) (a answer, p rest.Problem) {
	w.Helper()
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		w.Fatal(err)
	}
	defer resp.Body.Close()
	a = answer{status: resp.StatusCode, code: "ok", header: resp.Header}
	if a.body, err = io.ReadAll(resp.Body); err != nil {
		w.Fatal(err)
	}
	if a.status == http.StatusOK {
		return a, p
	}
	if err := json.Unmarshal(a.body, &p); err != nil || resp.Header.Get("Content-Type") != rest.ProblemType || p.Status != a.status || p.Reason == "" {
		w.Errorf("%s %s: %d %s %q is no problem", r.Method, r.URL, a.status, resp.Header.Get("Content-Type"), a.body)
	}
	a.code, a.reason, a.message = p.Code, p.Reason, p.Detail
	return a, p
}

// TestREST_EveryRPCByEveryRole walks every call by REST as each role, as nobody, and with and without a device, and holds the answer against the one
// that Connect gives: the same code, reason and text. The table of who may is TestEveryRPCByEveryRole's.
func TestREST_EveryRPCByEveryRole(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	routes, err := rest.ReadRoutes(service.Services())
	if err != nil {
		t.Fatal(err)
	}
	tokens := map[string]string{"nobody": "", "forged": w.admin.token[:len(w.admin.token)-4] + "AAAA"}
	for name, role := range accessv1.Role_value {
		if role != 0 {
			p := w.hire("rest."+strings.ToLower(strings.TrimPrefix(name, "ROLE_")), accessv1.Role(role))
			tokens[name], tokens[name+" on a device"] = p.token, w.tablet(p).token()
		}
	}
	blank := regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}`)
	table, cells, turnedAway := allowed(), 0, 0
	for _, route := range routes.All() {
		if table[strings.TrimPrefix(route.Procedure, "/needlebook.")] == "" {
			t.Errorf("%s is reached by REST and has no row in the table of who may call it", route.Procedure)
		}
		for who, token := range tokens {
			body := ""
			if route.Verb == http.MethodPost {
				body = "{}"
			}
			byREST, _ := w.ask(route.Verb, route.Path, token, body)
			byConnect := w.post(route.Procedure, token, "{}")
			if byREST.code != byConnect.code || byREST.reason != byConnect.reason ||
				blank.ReplaceAllString(byREST.message, "") != blank.ReplaceAllString(byConnect.message, "") {
				t.Errorf("%s as %s: %s %s %q by REST, %s %s %q by Connect", route.Procedure, who,
					byREST.code, byREST.reason, byREST.message, byConnect.code, byConnect.reason, byConnect.message)
			}
			if byREST.header.Get(service.HeaderCall) == "" {
				t.Errorf("%s as %s: no %s", route.Procedure, who, service.HeaderCall)
			}
			if byREST.code == "unauthenticated" || byREST.code == "permission_denied" {
				turnedAway++
			}
			cells++
		}
	}
	if reached := len(routes.All()); reached != len(table) {
		t.Errorf("%d calls are reached by REST, %d are in the table", reached, len(table))
	}
	if turnedAway == 0 || turnedAway == cells {
		t.Errorf("%d of %d were turned away", turnedAway, cells)
	}
	t.Logf("%d cells, %d turned away", cells, turnedAway)
}

// TestREST_SameEffectOnceAndAudited adds a person by REST twice with one request id, and finds one person and the entry of the audit log.
func TestREST_SameEffectOnceAndAudited(t *testing.T) {
	w := newWorld(t)
	body := `{"request_id": "` + uuid.NewString() + `", "name": {"full": "Nia Ode"}, "assignments": [{"roles": ["ROLE_INJECTOR"]}]}`
	first, _ := w.ask("POST", "/v1/staff:add", w.admin.token, body)
	again, _ := w.ask("POST", "/v1/staff:add", w.admin.token, body)
	if first.code != "ok" || string(first.body) != string(again.body) {
		t.Errorf("first %s, again %s", first.body, again.body)
	}
	other, p := w.ask("POST", "/v1/staff:add", w.admin.token, strings.Replace(body, "Nia", "Mia", 1))
	if other.status != http.StatusConflict || p.Reason != "ID_REUSED" || p.Field != "request_id" || p.Cause == "" || p.Fix == "" || p.Again {
		t.Errorf("the same id with other content: %s", other.body)
	}
	list, _ := w.ask("GET", "/v1/staff?page_size=50&include_suspended=true", w.admin.token, "")
	if n := strings.Count(string(list.body), "Nia Ode"); list.code != "ok" || n != 1 {
		t.Errorf("%d of that name in %s", n, list.body)
	}
	lea := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	audit, _ := w.ask("POST", "/v1/audit:list", lea.token, `{"page_size": 1000}`)
	if !strings.Contains(string(audit.body), "needlebook.access.v1.AccessService/AddStaff") {
		t.Errorf("the audit log does not have it: %s", audit.body)
	}
}

// TestREST_LineAndHeaders: what is wrong before the body is read, with its status.
func TestREST_LineAndHeaders(t *testing.T) {
	w := newWorld(t)
	for name, c := range map[string]struct {
		verb, path, media, body string
		status                  int
		reason, field           string
	}{
		"no such path":          {"POST", "/v1/patients:guess", "application/json", "{}", 404, "NOT_FOUND", "path"},
		"a procedure's path":    {"POST", "/v1/needlebook.chart.v1.ChartService/GetPatient", "application/json", "{}", 404, "NOT_FOUND", "path"},
		"an id in the path":     {"GET", "/v1/patients/" + uuid.NewString(), "", "", 404, "NOT_FOUND", "path"},
		"GET of a patient":      {"GET", "/v1/patients:search?text=Zora", "", "", 405, "INVALID_FIELD", "method"},
		"DELETE":                {"DELETE", "/v1/devices", "", "", 405, "INVALID_FIELD", "method"},
		"a form":                {"POST", "/v1/patients:search", "application/x-www-form-urlencoded", "text=Zora", 415, "INVALID_FIELD", "content-type"},
		"no media type":         {"POST", "/v1/patients:search", "", "{}", 415, "INVALID_FIELD", "content-type"},
		"a query beside a body": {"POST", "/v1/patients:search?text=Zora", "application/json", "{}", 400, "INVALID_FIELD", "query"},
		"no such parameter":     {"GET", "/v1/staff?pages=3", "", "", 400, "INVALID_FIELD", "pages"},
		"a parameter twice":     {"GET", "/v1/staff?page_size=3&page_size=4", "", "", 400, "INVALID_FIELD", "page_size"},
		"a parameter's kind":    {"GET", "/v1/staff?page_size=1e3", "", "", 400, "INVALID_FIELD", "page_size"},
		"a parameter's bounds":  {"GET", "/v1/staff?page_size=5000", "", "", 400, "INVALID_FIELD", "page_size"},
		"an odd query":          {"GET", "/v1/staff?%zz", "", "", 400, "INVALID_FIELD", "query"},
		"no body":               {"POST", "/v1/patients:search", "application/json", "", 400, "INVALID_FIELD", ""},
		"too large":             {"POST", "/v1/patients:search", "application/json", `{"text":"` + strings.Repeat("x", service.MaxMessageBytes) + `"}`, 413, "TOO_LARGE", "message"},
		"elsewhere":             {"GET", "/favicon.ico", "", "", 404, "NOT_FOUND", ""},
		"a page that is not":    {"GET", "/docs/nothing", "", "", 404, "NOT_FOUND", ""},
		"POST of a page":        {"POST", "/docs", "", "", 405, "INVALID_FIELD", "method"},
	} {
		r, err := http.NewRequestWithContext(t.Context(), c.verb, w.url+c.path, strings.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+w.admin.token)
		if c.media != "" {
			r.Header.Set("Content-Type", c.media)
		}
		a, p := w.askWith(r)
		if a.status != c.status || a.reason != c.reason || c.field != "" && p.Field != c.field {
			t.Errorf("%s: %d %s", name, a.status, a.body)
		}
		if strings.Contains(string(a.body), "Zora") {
			t.Errorf("%s: a name comes back: %s", name, a.body)
		}
		if a.status == 405 && a.header.Get("Allow") == "" {
			t.Errorf("%s: no Allow", name)
		}
	}
	if logs := w.logs.String(); strings.Contains(logs, "Zora") || strings.Contains(logs, "guess") {
		t.Errorf("the log holds what an address held: %s", logs)
	}
}

// TestREST_HeadersOfRefusals: what HTTP itself has words for is said in its headers too.
func TestREST_HeadersOfRefusals(t *testing.T) {
	w := newWorld(t)
	a, p := w.ask("POST", "/v1/patients:get", "", "{}")
	if a.status != 401 || a.header.Get("WWW-Authenticate") != "Bearer" || a.header.Get("Cache-Control") != "no-store" || p.CallID != a.header.Get(service.HeaderCall) {
		t.Errorf("%d %v %+v", a.status, a.header, p)
	}
	for range 60 {
		if a, p = w.ask("POST", "/v1/tokens:signIn", "", `{"sign_in_name": "nobody.here", "password": "not the right words at all"}`); a.status == 429 {
			break
		}
	}
	if a.status != 429 || a.reason != "RATE_LIMITED" || a.header.Get("Retry-After") == "" || !p.Again || p.RetryAfterMS <= 0 {
		t.Errorf("after 60 wrong passwords: %d %v %s", a.status, a.header, a.body)
	}
}

// TestREST_Packed: bodies may be packed as by Connect, and by the same bounds: what unpacks to more than a message is refused at once.
func TestREST_Packed(t *testing.T) {
	w := newWorld(t)
	bomb := func(n int) []byte {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		body := []byte(`{"text": "` + strings.Repeat("x", n) + `"}`)
		if _, err := z.Write(body); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	for _, c := range []struct {
		letters, status int
	}{{100, 200}, {64 << 20, 413}} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, w.url+"/v1/patients:search", bytes.NewReader(bomb(c.letters)))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Content-Encoding", "gzip")
		r.Header.Set("Authorization", "Bearer "+w.hire("eve"+strconv.Itoa(c.status), accessv1.Role_ROLE_INJECTOR).token)
		if a, _ := w.askWith(r); a.status != c.status {
			t.Errorf("%d letters: %d %s", c.letters, a.status, a.body)
		}
	}
}
