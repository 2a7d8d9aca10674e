package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/rogpeppe/go-internal/testscript"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/gen/needlebook/access/v1/accessv1connect"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/server"
)

const testPassword = "seven brown otters, singing"

// clinic is a real server on loopback, in the test's process, for replicas in processes of their own.
type clinic struct {
	data  string
	token string // of the administrator
	stop  func() error
	door  *door
	url   string
	home  string // the clinic's id
	staff map[string]string

	mu    sync.Mutex
	ahead time.Duration // of the server's clock
}

func (c *clinic) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Now().Add(c.ahead)
}

// door keeps one address for a server that stops and starts: a port that is given up may be another's in the next moment. While the server is stopped it
// closes every connection.
type door struct {
	net.Listener
	server atomic.Pointer[string] // the server's own address; nil while it is stopped
}

func openDoor() (*door, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	d := &door{Listener: l}
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go d.carry(conn)
		}
	}()
	return d, nil
}

// carry carries a connection to the server until either side ends it.
func (d *door) carry(conn net.Conn) {
	defer conn.Close()
	at := d.server.Load()
	if at == nil {
		return
	}
	inner, err := net.Dial("tcp", *at)
	if err != nil {
		return
	}
	defer inner.Close()
	ended := make(chan struct{}, 2)
	for _, way := range [][2]net.Conn{{inner, conn}, {conn, inner}} {
		go func() {
			_, _ = io.Copy(way[0], way[1]) // how a connection ends is for its two ends to say
			ended <- struct{}{}
		}()
	}
	<-ended
}

// start starts the server on the data that it has, behind the address that it had.
func (c *clinic) start(ctx context.Context) error {
	cfg := server.Default()
	cfg.Data, cfg.Listen, cfg.Organisation, cfg.Clinic, cfg.MinFreeBytes, cfg.Now = c.data, "127.0.0.1:0", "Island Clinics", "Harbour", -1, c.now
	cfg.HashCost = auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1} // keeps tests short
	s, err := server.Open(ctx, cfg)
	if err != nil {
		return err
	}
	running, cancel := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan error, 1)
	go func() { done <- s.Serve(running) }()
	c.stop = sync.OnceValue(func() error {
		if c.door != nil {
			c.door.server.Store(nil)
		}
		cancel()
		return <-done
	})
	if c.door == nil {
		if c.door, err = openDoor(); err != nil {
			return err
		}
		c.url = "http://" + c.door.Addr().String()
	}
	at := strings.TrimPrefix(s.URL(), "http://")
	c.door.server.Store(&at)
	orgs, err := s.Service().Organisations(ctx)
	if err != nil {
		return err
	}
	c.home = orgs[0].Clinic.String()
	if _, code, ok := strings.Cut(s.Link(), "#invitation="); ok && c.token == "" {
		c.token, err = c.claim(ctx, code, "root")
	}
	return err
}

// end stops the server, if it was started, and gives up its address.
func (c *clinic) end() error {
	if c.stop == nil {
		return nil
	}
	return errors.Join(c.stop(), c.door.Close())
}

type bearer struct{ token string }

func (b bearer) RoundTrip(r *http.Request) (*http.Response, error) {
	if b.token != "" {
		r.Header.Set("Authorization", "Bearer "+b.token)
	}
	return http.DefaultTransport.RoundTrip(r)
}

func (c *clinic) access() accessv1connect.AccessServiceClient {
	return accessv1connect.NewAccessServiceClient(&http.Client{Transport: bearer{c.token}}, c.url)
}

func (c *clinic) claim(ctx context.Context, code, name string) (token string, err error) {
	resp, err := c.access().ClaimInvitation(ctx, &accessv1.ClaimInvitationRequest{
		RequestId: uuid.NewString(), Token: code, SignInName: name, Password: testPassword,
	})
	return resp.GetTokens().GetAccessToken(), err
}

// hire adds a person who signs in by name.
func (c *clinic) hire(ctx context.Context, name string, role accessv1.Role) (id string, err error) {
	resp, err := c.access().AddStaff(ctx, &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: upperFirst(name)},
		Assignments: []*accessv1.RoleAssignment{{Roles: []accessv1.Role{role}}},
	})
	if err != nil {
		return "", err
	}
	_, code, _ := strings.Cut(resp.GetInvitationUrl(), "#invitation=")
	_, err = c.claim(ctx, code, name)
	return resp.GetStaff().GetId(), err
}

// suspend ends every sign-in of a person, and lets the person in again.
func (c *clinic) suspend(ctx context.Context, staff string) error {
	for _, suspended := range []bool{true, false} {
		_, err := c.access().SetStaffRoles(ctx, &accessv1.SetStaffRolesRequest{
			RequestId: uuid.NewString(), StaffId: staff, Suspended: &suspended, Reason: "a test of it",
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (c *clinic) code(ctx context.Context) (string, error) {
	resp, err := c.access().CreateEnrolmentCode(ctx, &accessv1.CreateEnrolmentCodeRequest{
		RequestId: uuid.NewString(), ClinicId: c.home, Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE,
	})
	return resp.GetCode(), err
}

// revoke revokes the devices of a label.
func (c *clinic) revoke(ctx context.Context, label string) error {
	resp, err := c.access().ListDevices(ctx, &accessv1.ListDevicesRequest{})
	for _, d := range resp.GetDevices() {
		if err == nil && d.GetDevice().GetLabel() == label {
			_, err = c.access().RevokeDevice(ctx, &accessv1.RevokeDeviceRequest{
				RequestId: uuid.NewString(), DeviceId: d.GetDevice().GetId(), Reason: "lost on the ferry",
			})
		}
	}
	return err
}

// scriptKey is where a script keeps its clinic.
type scriptKey struct{}

// TestReplicaScripts runs testdata/replica/*.txt against a real server. Beside the usual commands they have:
//
//	clinic start|stop            run the server, on the data and the address that it had; sets SERVER
//	clinic hire NAME ROLE        add a person with the password in $WORK/password; ROLE as in ROLE_INJECTOR, lower case
//	clinic code VAR              make an enrolment code
//	clinic suspend NAME          end every sign-in of a person
//	clinic revoke LABEL          revoke the devices of this label
//	clinic ahead DURATION        set the server's clock ahead of the machine's
//	json VAR PATH                set VAR from the JSON that the last command printed; PATH is names and indexes with dots between
//	copy FROM TO                 copy a folder, as a restore or a clone of a tablet does
func TestReplicaScripts(t *testing.T) {
	runClinicScripts(t, "replica", nil)
}

// scriptCommands are commands of scripts, by name.
type scriptCommands map[string]func(ts *testscript.TestScript, neg bool, args []string)

// runClinicScripts runs testdata/DIR/*.txt, each with a clinic of its own and the commands of TestReplicaScripts; more adds to them or takes their place.
func runClinicScripts(t *testing.T, dir string, more scriptCommands) {
	commands := scriptCommands{"clinic": scriptClinic, "json": scriptJSON, "copy": scriptCopy}
	maps.Copy(commands, more)
	testscript.Run(t, testscript.Params{
		Dir: "testdata/" + dir, UpdateScripts: *update, RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			c := &clinic{data: filepath.Join(e.WorkDir, "clinic"), staff: map[string]string{}}
			e.Values[scriptKey{}] = c
			e.Defer(func() {
				if err := c.end(); err != nil {
					t.Errorf("stop the server: %v", err)
				}
			})
			return os.WriteFile(filepath.Join(e.WorkDir, "password"), []byte(testPassword+"\n"), 0o600)
		},
		Cmds: commands,
	})
}

func scriptClinic(ts *testscript.TestScript, neg bool, args []string) {
	c, ctx := ts.Value(scriptKey{}).(*clinic), context.Background()
	if neg || len(args) == 0 {
		ts.Fatalf("usage: clinic start|stop|hire|code|suspend|revoke|ahead")
	}
	switch args[0] {
	case "start":
		ts.Check(c.start(ctx))
		ts.Setenv("SERVER", c.url)
	case "stop":
		ts.Check(c.stop())
	case "hire":
		role, ok := accessv1.Role_value["ROLE_"+strings.ToUpper(args[2])]
		if !ok {
			ts.Fatalf("role %q", args[2])
		}
		id, err := c.hire(ctx, args[1], accessv1.Role(role))
		ts.Check(err)
		c.staff[args[1]] = id
	case "code":
		code, err := c.code(ctx)
		ts.Check(err)
		ts.Setenv(args[1], code)
	case "revoke":
		ts.Check(c.revoke(ctx, args[1]))
	case "suspend":
		ts.Check(c.suspend(ctx, c.staff[args[1]]))
	case "ahead":
		d, err := time.ParseDuration(args[1])
		ts.Check(err)
		c.mu.Lock()
		c.ahead = d
		c.mu.Unlock()
	default:
		ts.Fatalf("clinic %s", args[0])
	}
}

func scriptJSON(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: json VAR PATH")
	}
	var v any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &v))
	for _, step := range strings.Split(args[1], ".") {
		switch x := v.(type) {
		case map[string]any:
			v = x[step]
		case []any:
			n, err := strconv.Atoi(step)
			ts.Check(err)
			if n >= len(x) {
				ts.Fatalf("%s: %d entries", args[1], len(x))
			}
			v = x[n]
		}
	}
	switch x := v.(type) {
	case string:
		ts.Setenv(args[0], x)
	case float64:
		ts.Setenv(args[0], strconv.FormatFloat(x, 'f', -1, 64))
	case bool:
		ts.Setenv(args[0], strconv.FormatBool(x))
	default:
		ts.Fatalf("%s: nothing there", args[1])
	}
}

func scriptCopy(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: copy FROM TO")
	}
	ts.Check(os.CopyFS(ts.MkAbs(args[1]), os.DirFS(ts.MkAbs(args[0]))))
}

// runHere runs a command line in this process with the machine's clock.
func runHere(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	e := env{stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs, now: time.Now, getenv: func(string) string { return "" }}
	code = dispatch(t.Context(), e, commands(), args)
	return code, out.String(), errs.String()
}

// wideSession has long texts, names in several scripts, doses of every kind, and words that no line holds.
const wideSession = `{"id": "5c1d7f7e-8a40-4f6a-9d1e-2b7c53c0a001", "on": {"year": 2026, "month": 3, "day": 1},
 "injections": [{"id": "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001", "muscle": "levator_labii_superioris_alaeque_nasi", "side": "SIDE_RIGHT",
   "planned": {"product": "daxibotulinumtoxinA", "dose_milliunits": 10000000}, "depth": {"layer": "DEPTH_LAYER_INTRAMUSCULAR", "micrometers": 4500},
   "uneven_reason": "LONG",
   "givings": [{"given": {"dose": {"product": "daxibotulinumtoxinA", "dose_milliunits": 1234567}, "volume_nanoliters": 12500},
     "done": {"by": "5c1d7f7e-8a40-4f6a-9d1e-2b7c53c0a002", "at": "2026-03-01T09:30:00Z"}}]}]}`

// People's output keeps to 80 columns and writes no unit short; where a dose is shown the caution stands, and only there.
func TestReplicaOutput(t *testing.T) {
	root := t.TempDir()
	a, b := filepath.Join(root, "a"), filepath.Join(root, "b")
	c := startClinic(t, a, b)
	const session, injection = "5c1d7f7e-8a40-4f6a-9d1e-2b7c53c0a001", "injections[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001]"
	wide := strings.Replace(wideSession, "LONG", "Ünïcödé "+strings.Repeat("w", 200)+" 左右", 1)
	doses := func(stdout string) bool { return strings.Contains(stdout, " units of ") }
	checked := 0
	do := func(want int, stdin string, args ...string) string {
		t.Helper()
		code, stdout, stderr := runHere(t, stdin, append([]string{"replica"}, args...)...)
		if code != want {
			t.Fatalf("%v: exit %d, want %d: %s%s", args, code, want, stdout, stderr)
		}
		for line := range strings.Lines(stdout) {
			line = strings.TrimSuffix(line, "\n")
			if n := utf8.RuneCountInString(line); n > columns {
				t.Errorf("%v: %d columns: %s", args, n, line)
			}
			if strings.ContainsAny(line, "\x1b\u00a0") {
				t.Errorf("%v: %q", args, line)
			}
		}
		if doses(stdout) != strings.Contains(stdout, "The licensed prescriber decides") {
			t.Errorf("%v: the caution is absent, or stands where no dose is:\n%s", args, stdout)
		}
		if doses(stdout) {
			checked++
		}
		return stdout
	}
	stdout := do(exitDone, wide, "put", "session", "--dir", a)
	for _, text := range []string{"10,000 units of daxibotulinumtoxinA", "1,234.567 units of daxibotulinumtoxinA", "volume 0.0125 mL", "4.5 mm",
		"2026-03-01 09:30 UTC"} {
		if !strings.Contains(stdout, text) {
			t.Errorf("%q is not in\n%s", text, stdout)
		}
	}
	do(exitDone, "", "sync", "--dir", a)
	do(exitDone, "", "sync", "--dir", b)
	for dir, amount := range map[string]string{a: "1", b: "2"} {
		planned := strings.Replace(wide, "10000000", amount, 1)
		do(exitDone, planned, "put", "session", "--dir", dir, "--mask", injection+".planned,"+injection+".uneven_reason")
	}
	do(exitDone, "", "sync", "--dir", b)
	do(exitDone, "", "sync", "--dir", a)
	if stdout := do(exitDone, "", "conflicts", "--dir", a); !strings.Contains(stdout, "0.001 units of") || !strings.Contains(stdout, "0.002 units of") {
		t.Errorf("a value of the conflict is not shown:\n%s", stdout)
	}
	for _, args := range [][]string{{"get", "session", session}, {"list", "session"}, {"list", "staff"}, {"held"}, {"recovered"}, {"digest"}, {"status"}} {
		do(exitDone, "", append(args, "--dir", a)...)
	}
	// An edit outside the roles: the sync is done, and a hold is in it.
	do(exitDone, `{"name": "Elsewhere"}`, "put", "clinic", "--dir", a, "--id", c.home)
	if stdout := do(exitHold, "", "sync", "--dir", a); !strings.Contains(stdout, "HELD clinic") {
		t.Error(stdout)
	}
	do(exitDone, "", "held", "--dir", a)
	if err := c.stop(); err != nil {
		t.Fatal(err)
	}
	do(exitAway, "", "sync", "--dir", a)
	if code, stdout, _ := runHere(t, "", "replica", "sync", "--dir", a, "--json"); code != exitAway || !json.Valid([]byte(stdout)) {
		t.Errorf("exit %d, want %d: %s", code, exitAway, stdout)
	}
	if checked < 5 {
		t.Errorf("only %d answers showed a dose", checked)
	}
}

// FuzzReadRecord: any text is read as a record or refused as wrong use; what is read is written as it was, and read again alike.
func FuzzReadRecord(f *testing.F) {
	for _, text := range []string{`{}`, wideSession, `{"short_number": "11"}`, `{"id": "x"}`, `{"injections": [{}, {"givings": [{}]}]}`, `{"a": 1}`, `[`, ""} {
		f.Add("session", text)
		f.Add("vial", text)
	}
	f.Fuzz(func(t *testing.T, kind, text string) {
		req, err := readRecord(env{stdin: strings.NewReader(text)}, kind, "")
		if err != nil {
			if exitCode(err) != exitUsage {
				t.Fatal(err)
			}
			return
		}
		written, err := recordJSON(req.GetRecord())
		if err != nil {
			t.Fatal(err)
		}
		var inner map[string]json.RawMessage
		if err := json.Unmarshal(written, &inner); err != nil {
			t.Fatal(err)
		}
		again, err := readRecord(env{stdin: bytes.NewReader(inner[kind])}, kind, "")
		if err != nil || !proto.Equal(again.GetRecord(), req.GetRecord()) {
			t.Fatalf("%s was read again as %v: %v", written, again, err)
		}
	})
}
