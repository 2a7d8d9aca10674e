package tablet_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
	"golang.org/x/crypto/argon2"

	"needlebook/internal/tabletcore"
)

// core is anything that answers a frame.
type core interface{ Call(frame []byte) []byte }

// module is the core that the tablet runs, in a runtime that is no browser's.
type module struct {
	t   *testing.T
	ctx context.Context
	of  api.Module
}

// shipped starts the core that is in dist.
func shipped(t *testing.T) *module {
	t.Helper()
	h := handler(t)
	var m struct{ Files map[string]string }
	if err := json.Unmarshal(content(t, get(t, h, "/app.json", "")), &m); err != nil {
		t.Fatal(err)
	}
	var code []byte
	for address := range m.Files {
		if strings.HasSuffix(address, ".wasm") {
			r := get(t, h, address, "")
			if r.StatusCode != http.StatusOK {
				t.Fatalf("%s: %d", address, r.StatusCode)
			}
			code = content(t, r)
		}
	}
	ctx := t.Context()
	runtime := wazero.NewRuntime(ctx)
	t.Cleanup(func() { _ = runtime.Close(context.WithoutCancel(ctx)) })
	wasi_snapshot_preview1.MustInstantiate(ctx, runtime)
	of, err := runtime.InstantiateWithConfig(ctx, code,
		wazero.NewModuleConfig().WithStartFunctions("_initialize").WithRandSource(rand.Reader).WithSysNanotime().WithSysWalltime())
	if err != nil {
		t.Fatal(err)
	}
	return &module{t, ctx, of}
}

func (m *module) carry(in []byte, function string, args ...uint64) []byte {
	m.t.Helper()
	at := m.call("in", uint64(len(in)))
	if !m.of.Memory().Write(uint32(at), in) {
		m.t.Fatal("the buffer is outside the memory")
	}
	n := m.call(function, args...)
	out, ok := m.of.Memory().Read(uint32(m.call("out")), uint32(n))
	if !ok {
		m.t.Fatal("the answer is outside the memory")
	}
	return bytes.Clone(out)
}

func (m *module) call(function string, args ...uint64) uint64 {
	m.t.Helper()
	out, err := m.of.ExportedFunction(function).Call(m.ctx, args...)
	if err != nil {
		m.t.Fatalf("%s: %v", function, err)
	}
	return out[0]
}

// Call makes a call as the browser's host does.
func (m *module) Call(frame []byte) []byte { return m.carry(frame, "core") }

// asked makes a call that must be answered, and returns the JSON and the block.
func asked(t *testing.T, c core, method, request string, beside ...[]byte) (raw, block []byte) {
	t.Helper()
	parts, err := tabletcore.ParseFrame(c.Call(tabletcore.AppendFrame(nil, append([][]byte{[]byte(method), []byte(request)}, beside...)...)))
	if err != nil || len(parts) < 2 {
		t.Fatalf("%s: %v %s", method, err, parts)
	}
	return bytes.Clone(parts[0]), bytes.Clone(parts[1])
}

// The core in dist, run outside a browser. It is compiled once, which takes seconds.
func TestShippedCore(t *testing.T) {
	if testing.Short() {
		t.Skip("compiling the core takes seconds")
	}
	wasm := shipped(t)
	t.Run("stores and merges as the native one", func(t *testing.T) { storesAndMergesAsTheNativeOne(t, wasm) })
	t.Run("plans the draw that was promised", func(t *testing.T) { plansTheDrawThatWasPromised(t, wasm) })
	t.Run("derives the key of Argon2id", func(t *testing.T) { derivesTheKeyOfArgon2id(t, wasm) })
}

// The core that is shipped merges as the one that the server is built with: the same edits give the same bytes to store and the same digest, and each loads
// what the other stored. (A change of the core that changes answers asks for a new build of the tablet; this test is of what may never change.)
func storesAndMergesAsTheNativeOne(t *testing.T, wasm *module) {
	native, err := tabletcore.New()
	if err != nil {
		t.Fatal(err)
	}
	var blocks [2][][]byte
	replica, patient, staff := uuid.NewString(), uuid.NewString(), uuid.NewString()
	both := func(method, request string) {
		t.Helper()
		for i, c := range []core{native, wasm} {
			if _, block := asked(t, c, method, request); len(block) > 0 {
				blocks[i] = append(blocks[i], block)
			}
		}
	}
	both("begin", fmt.Sprintf(`{"replica_id":%q,"host":{}}`, replica))
	for n, name := range []string{"Ana Quill", "Ana Quill-Moss", "Анна Квіл"} {
		both("edit", fmt.Sprintf(`{"staff_id":%q,"at_unix_ms":%d,"edit_id":%q,"request":{"record":{"patient":{"id":%q,"name":{"full":%q}}},"update_mask":["name"]}}`,
			staff, 1_790_000_000_000+n, uuid.Must(uuid.NewV7()), patient, name))
	}
	if len(blocks[0]) != 4 || len(blocks[1]) != 4 {
		t.Fatalf("%d and %d blocks", len(blocks[0]), len(blocks[1]))
	}
	for i := range blocks[0] {
		if !bytes.Equal(blocks[0][i], blocks[1][i]) {
			t.Errorf("block %d differs", i)
		}
	}
	want, _ := asked(t, native, "digest", `{}`)
	for i, c := range []core{native, wasm} {
		asked(t, c, "load", `{"host":{}}`, blocks[1-i]...)
		if got, _ := asked(t, c, "digest", `{}`); !bytes.Equal(got, want) {
			t.Errorf("digest %s, want %s", got, want)
		}
	}
}

// The core that is shipped gives the marks that outsiders were promised for PlanDraw: 4 units on each side from 100 units in 2.5 mL are 0.1 mL each.
func plansTheDrawThatWasPromised(t *testing.T, wasm *module) {
	raw, _ := asked(t, wasm, "plan_draw", `{"product":"onabotulinumtoxinA","vial":{"content_units":"100","diluent_ml":"2.5"},
		"syringe":{"capacity_ml":"1","graduation_ml":"0.01"},
		"doses":[{"ref":"1","dose_units":"4","side":"SIDE_RIGHT"},{"ref":"2","dose_units":"4","side":"SIDE_LEFT"}]}`)
	type mark struct {
		ExactML     string `json:"exact_ml"`
		MarkML      string `json:"mark_ml"`
		DeliveredML string `json:"delivered_ml"`
	}
	var m struct {
		Syringes []struct {
			DrawnML string `json:"drawn_ml"`
			Marks   []mark
		}
	}
	if err := json.Unmarshal(raw, &m); err != nil {
		t.Fatal(err)
	}
	if len(m.Syringes) != 1 || m.Syringes[0].DrawnML != "0.2" || len(m.Syringes[0].Marks) != 2 ||
		m.Syringes[0].Marks[0] != (mark{"0.1", "0.1", "0.1"}) || m.Syringes[0].Marks[1] != (mark{"0.1", "0", "0.1"}) {
		t.Errorf("PlanDraw = %s", raw)
	}
}

// The passphrase's key is the one that Argon2id gives natively, by the same library.
func derivesTheKeyOfArgon2id(t *testing.T, wasm *module) {
	salt, passphrase := []byte("sixteen bytes ok"), []byte("correct horse battery")
	got := wasm.carry(append(bytes.Clone(salt), passphrase...), "derive", 2, 1024)
	if want := argon2.IDKey(passphrase, salt, 2, 1024, 1, 32); !bytes.Equal(got, want) {
		t.Errorf("key %x, want %x", got, want)
	}
}
