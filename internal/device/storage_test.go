package device

import (
	"bytes"
	"maps"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"needlebook/internal/replica"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// TestStorage_RowsComeBackAsTheyWere: whatever is put and deleted, in whatever order and size, the rows read are those of a map.
func TestStorage_RowsComeBackAsTheyWere(t *testing.T) {
	st, err := boltstore.Open(boltstore.Config{Path: filepath.Join(t.TempDir(), "db"), Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	model := map[string][]byte{}
	key := rapid.SampledFrom([]string{"m", "s", "s1", "s1\x00\x01", "s1\x00", "y"})
	size := rapid.SampledFrom([]int{1, 100, pieceBytes - 1, pieceBytes, pieceBytes + 1, 3 * pieceBytes})
	rapid.Check(t, func(t *rapid.T) {
		var ch replica.Changes
		put := map[string][]byte{}
		for range rapid.IntRange(0, 3).Draw(t, "puts") {
			put[key.Draw(t, "put")] = bytes.Repeat([]byte{rapid.Byte().Draw(t, "fill")}, size.Draw(t, "size"))
		}
		for _, k := range rapid.SliceOfN(key, 0, 2).Draw(t, "deletes") {
			ch.Delete = append(ch.Delete, []byte(k))
			delete(model, k)
		}
		for k, v := range put {
			ch.Put = append(ch.Put, replica.Row{Key: []byte(k), Value: v})
			model[k] = v
		}
		if err := save(t.Context(), st, ch); err != nil {
			t.Fatal(err)
		}
		var rows []replica.Row
		pieces := 0
		err := st.View(t.Context(), func(r store.Reader) (err error) {
			if rows, err = readRows(r); err != nil {
				return err
			}
			return r.Scan([]byte{tablePieces}, nil, func(_, _ []byte) error { pieces++; return nil })
		})
		if err != nil {
			t.Fatal(err)
		}
		keys, wantPieces := slices.Sorted(maps.Keys(model)), 0
		if len(rows) != len(keys) {
			t.Fatalf("%d rows, want %d", len(rows), len(keys))
		}
		for i, k := range keys {
			if string(rows[i].Key) != k || !bytes.Equal(rows[i].Value, model[k]) {
				t.Fatalf("row %d is %q with %d bytes, want %q with %d", i, rows[i].Key, len(rows[i].Value), k, len(model[k]))
			}
			wantPieces += (len(model[k]) - 1) / pieceBytes
		}
		if pieces != wantPieces {
			t.Fatalf("%d further pieces, want %d: old ones are left", pieces, wantPieces)
		}
	})
}
