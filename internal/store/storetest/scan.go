package storetest

import (
	"errors"
	"slices"
	"strconv"
	"testing"

	"needlebook/internal/store"
)

// testScanRanges looks at every range over keys that sort badly, in a view and over a half-written overlay.
func testScanRanges(t *testing.T, s store.Store) {
	keys := []string{"t", "t\x00", "t\x00\x00", "t\x01", "tA", "tAA", "tB", "t\xfe\xff", "t\xff", "t\xff\xff"}
	mustUpdate(t, s, func(w store.Writer) error {
		for i := 0; i < len(keys); i += 2 {
			if err := w.Put([]byte(keys[i]), []byte("v"+strconv.Itoa(i))); err != nil {
				return err
			}
		}
		return nil
	})
	mustUpdate(t, s, func(w store.Writer) error {
		for i := 1; i < len(keys); i += 2 {
			if err := w.Put([]byte(keys[i]), []byte("v"+strconv.Itoa(i))); err != nil {
				return err
			}
		}
		checkRanges(t, w, keys)
		return nil
	})
	mustView(t, s, func(r store.Reader) error { checkRanges(t, r, keys); return nil })
}

func checkRanges(t *testing.T, r store.Reader, keys []string) {
	t.Helper()
	bounds := append(slices.Clone(keys), "t\x00\x00\x00", "tAAA", "t\xff\xff\xff", "u", "s")
	for _, lo := range bounds {
		for _, hi := range append(bounds, "") {
			var want []row
			for i, k := range keys {
				if lo[0] == 't' && k >= lo && (hi == "" || k < hi) {
					want = append(want, row{k, "v" + strconv.Itoa(i)})
				}
			}
			up, errUp := scan(r, []byte(lo), []byte(hi), false)
			down, errDown := scan(r, []byte(lo), []byte(hi), true)
			slices.Reverse(down)
			if errUp != nil || errDown != nil || !slices.Equal(up, want) || !slices.Equal(down, want) {
				t.Errorf("range %q to %q: up %q %v, down %q %v, want %q", lo, hi, up, errUp, down, errDown, want)
			}
		}
	}
}

// testScanTables has neighbours on both sides, and the last table of all.
func testScanTables(t *testing.T, s store.Store) {
	mustPut(t, s, row{"\x00a", "0"}, row{"a1", "1"}, row{"b1", "2"}, row{"b2", "3"}, row{"c1", "4"}, row{"\xffz", "5"})
	for _, test := range []struct {
		lo, hi []byte
		want   []row
	}{
		{[]byte("b"), nil, []row{{"b1", "2"}, {"b2", "3"}}},
		{[]byte("b"), []byte("c2"), []row{{"b1", "2"}, {"b2", "3"}}},
		{[]byte("b2"), []byte{0xff}, []row{{"b2", "3"}}},
		{[]byte{0xff}, nil, []row{{"\xffz", "5"}}},
		{[]byte{0}, nil, []row{{"\x00a", "0"}}},
		{[]byte("d"), nil, nil},
		{[]byte("c"), []byte("b"), nil},
	} {
		for _, down := range []bool{false, true} {
			mustUpdate(t, s, func(r store.Writer) error {
				got, err := scan(r, test.lo, test.hi, down)
				if down {
					slices.Reverse(got)
				}
				if !slices.Equal(got, test.want) {
					t.Errorf("scan %q to %q, down %v: %q, want %q", test.lo, test.hi, down, got, test.want)
				}
				return err
			})
		}
	}
}

func testScanEnds(t *testing.T, s store.Store) {
	mustPut(t, s, row{"a1", "1"}, row{"a2", "2"}, row{"a3", "3"})
	broken := errors.New("broken")
	for _, end := range []error{store.Stop, broken} {
		mustView(t, s, func(r store.Reader) error {
			var seen []string
			fn := func(key, _ []byte) error { seen = append(seen, string(key)); return end }
			want := end
			if errors.Is(end, store.Stop) {
				want = nil
			}
			if err := r.Scan([]byte("a"), nil, fn); !errors.Is(err, want) {
				t.Errorf("Scan with %v: %v", end, err)
			}
			if err := r.ScanDown(nil, []byte("a"), fn); !errors.Is(err, want) {
				t.Errorf("ScanDown with %v: %v", end, err)
			}
			if want := []string{"a1", "a3"}; !slices.Equal(seen, want) {
				t.Errorf("with %v saw %q, want %q", end, seen, want)
			}
			return nil
		})
	}
}

// testScanWhileWriting moves each row that it meets behind the scan and ahead of it.
func testScanWhileWriting(t *testing.T, s store.Store) {
	mustPut(t, s, row{"m1", "old"}, row{"m2", "old"}, row{"m3", "old"})
	for _, down := range []bool{false, true} {
		mustUpdate(t, s, func(w store.Writer) error {
			if err := w.Put([]byte("m2x"), []byte("own")); err != nil { // the overlay is not empty when the scan begins
				return err
			}
			var seen []string
			move := func(key, value []byte) error {
				seen = append(seen, string(key)+"="+string(value))
				return errors.Join(w.Delete([]byte("m2")), w.Delete([]byte("m2x")), w.Put(append(key, '+'), value), w.Put([]byte("m0"), value))
			}
			want := []string{"m1=old", "m2=old", "m2x=own", "m3=old"}
			err := w.Scan([]byte("m"), nil, move)
			if down {
				seen = nil
				slices.Reverse(want)
				err = errors.Join(err, undo(w), w.ScanDown(nil, []byte("m"), move))
			}
			if !slices.Equal(seen, want) {
				t.Errorf("down %v: saw %q, want %q", down, seen, want)
			}
			return errors.Join(err, undo(w))
		})
	}
}

// undo brings table m back to where testScanWhileWriting begins, with its own row.
func undo(w store.Writer) error {
	var all [][]byte
	err := w.Scan([]byte("m"), nil, func(key, _ []byte) error { all = append(all, key); return nil })
	for _, key := range all {
		err = errors.Join(err, w.Delete(key))
	}
	for _, r := range []row{{"m1", "old"}, {"m2", "old"}, {"m2x", "own"}, {"m3", "old"}} {
		err = errors.Join(err, w.Put([]byte(r.key), []byte(r.value)))
	}
	return err
}
