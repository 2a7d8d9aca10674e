package record_test

import (
	"bytes"
	"embed"
	"encoding/hex"
	"strings"
	"testing"

	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// vectors is part of the test's binary, so that it is there under js/wasm too.
//
//go:embed testdata/merge/*.txt
var vectors embed.FS

// vector is one file of testdata/merge.
type vector struct {
	edits  []record.Edit
	bytes  [][]byte
	chains []string
	bodies []string
	state  []byte
	digest string
}

func readVector(t *testing.T, name string) vector {
	t.Helper()
	text, err := vectors.ReadFile("testdata/merge/" + name)
	if err != nil {
		t.Fatal(err)
	}
	var v vector
	for line := range strings.Lines(string(text)) {
		what, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		b, err := hex.DecodeString(value)
		switch {
		case what == "#":
			continue
		case err != nil:
			t.Fatalf("%s: %v", line, err)
		case what == "edit":
			e, err := record.ParseEdit(b)
			if err != nil {
				t.Fatal(err)
			}
			v.edits, v.bytes = append(v.edits, e), append(v.bytes, b)
		case what == "chain":
			v.chains = append(v.chains, value)
		case what == "body":
			v.bodies = append(v.bodies, value)
		case what == "state":
			v.state = b
		case what == "digest":
			v.digest = value
		default:
			t.Fatalf("line %q is not known", line)
		}
	}
	return v
}

// TestVectors_Merge replays what a second reading of the documents wrote. The source of the bytes is docs/format.md by way of testdata/merge/twin.py.
func TestVectors_Merge(t *testing.T) {
	files, err := vectors.ReadDir("testdata/merge")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d vectors (%v)", len(files), err)
	}
	for _, file := range files {
		t.Run(file.Name(), func(t *testing.T) {
			v := readVector(t, file.Name())
			heads := map[causal.ReplicaID]record.Hash{}
			for i := range v.edits {
				e := &v.edits[i]
				e.Previous = heads[e.Dot.Replica]
				heads[e.Dot.Replica] = e.Hash()
				chain, body := e.Hash(), e.BodyHash()
				if hex.EncodeToString(chain[:]) != v.chains[i] || hex.EncodeToString(body[:]) != v.bodies[i] {
					t.Errorf("edit %d: chain %x and body %x, want %s and %s", i, chain, body, v.chains[i], v.bodies[i])
				}
				if !bytes.Equal(e.AppendBinary(nil), v.bytes[i]) {
					t.Errorf("edit %d is written as %x", i, e.AppendBinary(nil))
				}
			}
			st := record.Fold(v.edits[0].Key, v.edits)
			digest := st.Digest()
			if got := st.AppendBinary(nil); !bytes.Equal(got, v.state) || hex.EncodeToString(digest[:]) != v.digest {
				t.Errorf("state\n got %x\nwant %x\ndigest %x, want %s", got, v.state, digest, v.digest)
			}
			joined := record.NewState(st.Key) // the same by joining what each edit alone, with all before it, leaves
			for i := range v.edits {
				joined = record.Join(joined, record.Fold(st.Key, v.edits[:i+1]))
			}
			if got := joined.AppendBinary(nil); !bytes.Equal(got, v.state) {
				t.Errorf("joined\n got %x\nwant %x", got, v.state)
			}
		})
	}
}
