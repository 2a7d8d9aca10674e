package audit

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/store"
	"needlebook/internal/store/storetest"
)

var (
	orgA = uuid.MustParse("0190b5a0-0000-7000-8000-0000000000aa")
	orgB = uuid.MustParse("0190b5a0-0000-7000-8000-0000000000bb")
)

func id(kind, n int) uuid.UUID {
	return uuid.NewSHA1(uuid.Nil, fmt.Append(nil, kind, n))
}

// entry is the n-th of a plausible log: reads, a refusal now and then, a break-glass.
func entry(org uuid.UUID, n int) Entry {
	e := Entry{AtMS: 1772442000000 + int64(n)*1000, Org: org, Staff: id(1, n%5), Device: id(2, n%3), Role: accessv1.Role_ROLE_INJECTOR,
		Action: optionsv1.Action_ACTION_READ_CHART, Procedure: "needlebook.chart.v1.ChartService/GetPatient",
		Kind:   optionsv1.RecordKind_RECORD_KIND_PATIENT,
		Record: id(3, n%7), Patient: id(3, n%7), Relation: OwnClinic, Outcome: accessv1.AuditOutcome_AUDIT_OUTCOME_DONE, Request: fmt.Sprint("q", n)}
	if n%4 == 1 {
		e.Outcome, e.Reason, e.Role = accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED, faultv1.Reason_REASON_NOT_ALLOWED, 0
	}
	if n%6 == 5 {
		e.Relation, e.Remark = BreakGlass, "swelling after treatment elsewhere"
	}
	if n%11 == 3 {
		e.Staff, e.Patient = uuid.Nil, uuid.Nil
	}
	return e
}

func mustLog(t testing.TB, org uuid.UUID, n int, st *storetest.Memory) Head {
	t.Helper()
	var head Head
	mustUpdate(t, st, func(w store.Writer) (err error) {
		for i := range n {
			if _, head, err = Append(w, entry(org, i)); err != nil {
				return err
			}
		}
		return nil
	})
	return head
}

func verify(st *storetest.Memory, org uuid.UUID, kept ...Head) (head Head, err error) {
	_ = st.View(context.Background(), func(r store.Reader) error {
		head, err = Verify(r, org, kept...)
		return nil
	})
	return head, err
}

func TestAppendAndVerify(t *testing.T) {
	st := storetest.NewMemory()
	a, b := mustLog(t, orgA, 30, st), mustLog(t, orgB, 7, st)
	nobody := mustLog(t, uuid.Nil, 2, st)
	for _, want := range []Head{a, b, nobody} {
		if got, err := verify(st, want.Org, a, b, nobody); err != nil || got != want {
			t.Errorf("%s: %v, %v; want %v", want.Org, got, err, want)
		}
	}
	if a.Sequence != 30 || b.Sequence != 7 {
		t.Errorf("sequences %d and %d", a.Sequence, b.Sequence)
	}
	_ = st.View(context.Background(), func(r store.Reader) error {
		heads, err := VerifyAll(r, a)
		if err != nil || len(heads) != 3 {
			t.Errorf("%v, %v", heads, err)
		}
		return nil
	})
	if _, err := verify(storetest.NewMemory(), orgA); err != nil {
		t.Errorf("the empty log: %v", err)
	}
}

func TestAppendRefuses(t *testing.T) {
	st := storetest.NewMemory()
	for name, change := range map[string]func(*Entry){
		"no outcome":     func(e *Entry) { e.Outcome = 0 },
		"long remark":    func(e *Entry) { e.Remark = strings.Repeat("x", maxRemark+1) },
		"long procedure": func(e *Entry) { e.Procedure = strings.Repeat("x", maxProcedureBytes+1) },
		"long request":   func(e *Entry) { e.Request = strings.Repeat("x", maxRequestBytes+1) },
		"not UTF-8":      func(e *Entry) { e.Remark = "\xff" },
	} {
		e := entry(orgA, 0)
		change(&e)
		if err := st.Update(context.Background(), func(w store.Writer) error { _, _, err := Append(w, e); return err }); !errors.Is(err, ErrEntry) {
			t.Errorf("%s: %v", name, err)
		}
	}
	mustLog(t, orgA, 3, st)
	delete(st.Rows, string(headKey(orgA)))
	var tampered *TamperedError
	err := st.Update(context.Background(), func(w store.Writer) error { _, _, err := Append(w, entry(orgA, 9)); return err })
	if !errors.As(err, &tampered) {
		t.Errorf("append onto a log without its head: %v", err)
	}
}

// TestTamperingIsFound plants each kind of change by hand, on a log whose head was copied elsewhere.
func TestTamperingIsFound(t *testing.T) {
	const size = 40
	for name, plant := range map[string]func(st *storetest.Memory, n uint64){
		"edit one byte": func(st *storetest.Memory, n uint64) {
			v := st.Rows[string(entryKey(orgA, n))]
			v[len(v)/2] ^= 1
		},
		"edit with its own hash made right": func(st *storetest.Memory, n uint64) { forge(st, n, func(e *Entry) { e.Remark = "forged" }) },
		"edit who":                          func(st *storetest.Memory, n uint64) { forge(st, n, func(e *Entry) { e.Device = id(9, 9) }) },
		"edit the hash":                     func(st *storetest.Memory, n uint64) { st.Rows[string(entryKey(orgA, n))][5] ^= 1 },
		"edit the version":                  func(st *storetest.Memory, n uint64) { st.Rows[string(entryKey(orgA, n))][0] = 2 },
		"delete one":                        func(st *storetest.Memory, n uint64) { delete(st.Rows, string(entryKey(orgA, n))) },
		"swap two": func(st *storetest.Memory, n uint64) {
			i, j := string(entryKey(orgA, n)), string(entryKey(orgA, n%size+1))
			st.Rows[i], st.Rows[j] = st.Rows[j], st.Rows[i]
		},
		"put one twice": func(st *storetest.Memory, n uint64) {
			st.Rows[string(entryKey(orgA, size+1))] = st.Rows[string(entryKey(orgA, n))]
		},
		"take one from another log": func(st *storetest.Memory, n uint64) {
			st.Rows[string(entryKey(orgA, n))] = st.Rows[string(entryKey(orgB, n))]
		},
		"cut off the end":               func(st *storetest.Memory, n uint64) { cut(st, n) },
		"cut off and set the head back": func(st *storetest.Memory, n uint64) { cut(st, n); setBack(st, n-1) },
		"cut off all and the head": func(st *storetest.Memory, _ uint64) {
			cut(st, 1)
			delete(st.Rows, string(headKey(orgA)))
		},
		"forge the whole rest": func(st *storetest.Memory, n uint64) { rechain(st, n, size) },
		"drop the head":        func(st *storetest.Memory, _ uint64) { delete(st.Rows, string(headKey(orgA))) },
		"garble the head":      func(st *storetest.Memory, _ uint64) { st.Rows[string(headKey(orgA))][3] ^= 1 },
		"hide from the patient's list": func(st *storetest.Memory, n uint64) {
			for k := range maps.Keys(st.Rows) {
				if strings.HasPrefix(k, string([]byte{table, keyPatient})+string(orgA[:])) {
					delete(st.Rows, k)
					return
				}
			}
		},
		"add to a patient's list": func(st *storetest.Memory, n uint64) {
			st.Rows[string(append(indexPrefix(keyPatient, orgA, id(8, 8)), 0, 0, 0, 0, 0, 0, 0, byte(n)))] = []byte{1}
		},
		"a key of another length": func(st *storetest.Memory, n uint64) { st.Rows[string(entryKey(orgA, n))+"x"] = []byte{1} },
	} {
		t.Run(name, func(t *testing.T) {
			chance := rand.New(rand.NewPCG(7, uint64(len(name))))
			for range 20 {
				st := storetest.NewMemory()
				head := mustLog(t, orgA, size, st)
				mustLog(t, orgB, size, st)
				n := 1 + chance.Uint64N(size)
				plant(st, n)
				var found *TamperedError
				if _, err := verify(st, orgA, head); !errors.As(err, &found) {
					t.Fatalf("at entry %d: not found: %v", n, err)
				}
				if _, err := verify(st, orgB); err != nil {
					t.Fatalf("at entry %d: the other organisation's log: %v", n, err)
				}
			}
		})
	}
}

// forge changes an entry and makes its own hash right; those behind it no longer follow.
func forge(st *storetest.Memory, n uint64, change func(*Entry)) {
	e, _, _, _ := decodeEntry(st.Rows[string(entryKey(orgA, n))])
	var before Hash
	if n > 1 {
		_, before, _, _ = decodeEntry(st.Rows[string(entryKey(orgA, n-1))])
	}
	change(&e)
	st.Rows[string(entryKey(orgA, n))], _, _ = encodeEntry(before, e)
}

// rechain is what someone does who can write the whole store: forge one entry and make every hash and the head right.
func rechain(st *storetest.Memory, n uint64, size uint64) {
	forge(st, n, func(e *Entry) { e.Remark = "forged" })
	for i := n + 1; i <= size; i++ {
		forge(st, i, func(*Entry) {})
	}
	setBack(st, size)
}

func cut(st *storetest.Memory, from uint64) {
	for i := from; ; i++ {
		e, _, _, err := decodeEntry(st.Rows[string(entryKey(orgA, i))])
		if err != nil {
			return
		}
		delete(st.Rows, string(entryKey(orgA, i)))
		for _, k := range indexKeys(e) {
			delete(st.Rows, string(k))
		}
	}
}

func setBack(st *storetest.Memory, n uint64) {
	h := Head{Org: orgA, Sequence: n}
	if n == 0 {
		delete(st.Rows, string(headKey(orgA)))
		return
	}
	_, h.Hash, _, _ = decodeEntry(st.Rows[string(entryKey(orgA, n))])
	st.Rows[string(headKey(orgA))] = []byte(h.String())
}

// TestWholeForgeryNeedsAHeadKeptElsewhere states the limit: without such a head a forged chain looks sound.
func TestWholeForgeryNeedsAHeadKeptElsewhere(t *testing.T) {
	st := storetest.NewMemory()
	head := mustLog(t, orgA, 10, st)
	rechain(st, 4, 10)
	if _, err := verify(st, orgA); err != nil {
		t.Errorf("expected to look sound: %v", err)
	}
	if _, err := verify(st, orgA, head); err == nil {
		t.Error("not found with the head kept elsewhere")
	}
}

// TestEveryByteCounts flips a bit in every byte of every stored row of a small log.
func TestEveryByteCounts(t *testing.T) {
	st := storetest.NewMemory()
	head := mustLog(t, orgA, 6, st)
	tried := 0
	for _, k := range slices.Sorted(maps.Keys(st.Rows)) {
		if k[1] != keyEntry && k[1] != keyHead {
			continue // the value of an index key says nothing
		}
		for i := range st.Rows[k] {
			st.Rows[k][i] ^= 0x10
			tried++
			if _, err := verify(st, orgA, head); err == nil {
				t.Errorf("byte %d of key %q: not found", i, k)
			}
			st.Rows[k][i] ^= 0x10
		}
	}
	if _, err := verify(st, orgA, head); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes flipped, each found", tried)
}

// TestListAgreesWithAPlainFilter pages through random queries and compares with a filter over all entries.
func TestListAgreesWithAPlainFilter(t *testing.T) {
	st := storetest.NewMemory()
	mustLog(t, orgA, 120, st)
	mustLog(t, orgB, 50, st)
	rapid.Check(t, func(t *rapid.T) {
		pick := func(label string, kind, n int) uuid.UUID {
			if rapid.Bool().Draw(t, label) {
				return uuid.Nil
			}
			return id(kind, rapid.IntRange(0, n).Draw(t, label+" id"))
		}
		q := Query{Org: orgA, Patient: pick("patient", 3, 7), Staff: pick("staff", 1, 5), Device: pick("device", 2, 3),
			Limit: rapid.IntRange(1, 40).Draw(t, "limit")}
		if rapid.Bool().Draw(t, "times") {
			q.FromMS = 1772442000000 + rapid.Int64Range(0, 120000).Draw(t, "from")
			q.UntilMS = q.FromMS + rapid.Int64Range(1, 120000).Draw(t, "life")
		}
		var want []uint64
		for n := 119; n >= 0; n-- {
			if q.chooses(entry(orgA, n)) {
				want = append(want, uint64(n+1))
			}
		}
		var got []uint64
		for {
			var p Page
			if err := st.View(context.Background(), func(r store.Reader) (err error) { p, err = List(r, q); return err }); err != nil {
				t.Fatal(err)
			}
			if len(p.Entries) > q.Limit {
				t.Fatalf("%d entries, limit %d", len(p.Entries), q.Limit)
			}
			for _, l := range p.Entries {
				got = append(got, l.Sequence)
			}
			if q.Before = p.Next; p.Next == 0 {
				break
			}
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

func TestListRefusesLimits(t *testing.T) {
	for _, limit := range []int{0, -1, 1001} {
		_ = storetest.NewMemory().View(context.Background(), func(r store.Reader) error {
			if _, err := List(r, Query{Org: orgA, Limit: limit}); !errors.Is(err, ErrLimit) {
				t.Errorf("limit %d: %v", limit, err)
			}
			return nil
		})
	}
}

func FuzzDecodeEntry(f *testing.F) {
	for n := range 6 {
		b, _, _ := encodeEntry(Hash{byte(n)}, entry(orgA, n))
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		e, _, body, err := decodeEntry(b)
		if err != nil {
			return
		}
		again, _, err := encodeEntry(Hash{}, e)
		if err != nil || !bytes.Equal(again[1+len(Hash{}):], body) {
			t.Errorf("reads back other bytes: %v", err)
		}
	})
}

func FuzzParseHead(f *testing.F) {
	f.Add(Head{Org: orgA, Sequence: 7}.String())
	f.Add(headIntro + " 0190B5A0-0000-7000-8000-0000000000AA +7 00")
	f.Fuzz(func(t *testing.T, s string) {
		if h, err := ParseHead(s); err == nil && h.String() != s {
			t.Errorf("%q prints as %q", s, h)
		}
	})
}
