package fault

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

//go:generate go test . -run TestDocument -update

var update = flag.Bool("update", false, "write docs/errors.md")

const documentPath = "../../docs/errors.md"

func TestDocument(t *testing.T) {
	want := Document()
	if *update {
		if err := os.WriteFile(documentPath, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(documentPath)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Fatal("docs/errors.md differs from the catalogue; run go generate ./internal/fault")
	}
}

// TestEveryReasonHasOneEntry walks the schema's enum, which is the outside list.
func TestEveryReasonHasOneEntry(t *testing.T) {
	count := map[faultv1.Reason]int{}
	for _, e := range Entries() {
		count[e.Reason]++
	}
	for n, name := range faultv1.Reason_name {
		want := 1
		if n == 0 {
			want = 0
		}
		if got := count[faultv1.Reason(n)]; got != want {
			t.Errorf("%s: %d entries, want %d", name, got, want)
		}
		delete(count, faultv1.Reason(n))
	}
	for r := range count {
		t.Errorf("entry of reason %d, which the schema does not have", r)
	}
}

// codes are the names of google.rpc.Code (google/rpc/code.proto), from memory.
const codes = " ok cancelled unknown invalid_argument deadline_exceeded not_found already_exists permission_denied resource_exhausted " +
	"failed_precondition aborted out_of_range unimplemented internal unavailable data_loss unauthenticated "

func TestEntriesAreWhole(t *testing.T) {
	blame := regexp.MustCompile(`(?i)\b(invalid|please|oops|sorry|illegal|bad|failed to|error|fatal)\b`)
	for _, e := range Entries() {
		if !strings.Contains(codes, " "+string(e.Class)+" ") {
			t.Errorf("%s: class %q is no code", Name(e.Reason), e.Class)
		}
		for part, text := range map[string]string{"meaning": e.Meaning, "cause": e.Cause, "fix": e.Fix} {
			if word := blame.FindString(text); word != "" {
				t.Errorf("%s: %s says %q", Name(e.Reason), part, word)
			}
			if !strings.HasSuffix(text, ".") || !unicode.IsUpper(rune(text[0])) {
				t.Errorf("%s: %s is no sentence: %q", Name(e.Reason), part, text)
			}
		}
		if strings.Count(e.Meaning, ".") != 1 {
			t.Errorf("%s: the meaning is not one sentence: %q", Name(e.Reason), e.Meaning)
		}
		if e.Acts == "" {
			t.Errorf("%s: nobody acts", Name(e.Reason))
		}
	}
}

// Pairs that the wire promises: docs/protocol.md and the table of what a hostile tablet sends.
func TestClasses(t *testing.T) {
	for reason, want := range map[faultv1.Reason]Class{
		faultv1.Reason_REASON_DOT_COLLISION:     Aborted,
		faultv1.Reason_REASON_ACTOR_NOT_YOURS:   PermissionDenied,
		faultv1.Reason_REASON_RESUME_FROM:       FailedPrecondition,
		faultv1.Reason_REASON_UNKNOWN_CONTEXT:   FailedPrecondition,
		faultv1.Reason_REASON_NOT_FOUND:         NotFound,
		faultv1.Reason_REASON_BAD_QUANTITY:      InvalidArgument,
		faultv1.Reason_REASON_UNAUTHENTICATED:   Unauthenticated,
		faultv1.Reason_REASON_DEVICE_REVOKED:    PermissionDenied,
		faultv1.Reason_REASON_TOO_LARGE:         ResourceExhausted,
		faultv1.Reason_REASON_BAD_CURSOR:        InvalidArgument,
		faultv1.Reason_REASON_DISK_FULL:         ResourceExhausted,
		faultv1.Reason_REASON_EPOCH_CHANGED:     OutOfRange,
		faultv1.Reason_REASON_DATA_LOSS:         DataLoss,
		faultv1.Reason_REASON_ALREADY_APPLIED:   AlreadyExists,
		faultv1.Reason_REASON_RATE_LIMITED:      ResourceExhausted,
		faultv1.Reason_REASON_BAD_PASSWORD:      Unauthenticated,
		faultv1.Reason_REASON_CLIENT_TOO_OLD:    FailedPrecondition,
		faultv1.Reason_REASON_NOT_ALLOWED:       PermissionDenied,
		faultv1.Reason_REASON_UNKNOWN_PRODUCT:   InvalidArgument,
		faultv1.Reason_REASON_UNAVAILABLE:       Unavailable,
		faultv1.Reason_REASON_INTERNAL:          Internal,
		faultv1.Reason_REASON_SCHEMA_TOO_NEW:    FailedPrecondition,
		faultv1.Reason_REASON_OUTPUT_ONLY:       InvalidArgument,
		faultv1.Reason_REASON_NOT_CANONICAL:     InvalidArgument,
		faultv1.Reason_REASON_BAD_SIGNATURE:     InvalidArgument,
		faultv1.Reason_REASON_TOO_MANY_SIBLINGS: FailedPrecondition,
	} {
		if e, _ := Lookup(reason); e.Class != want {
			t.Errorf("%s: %s, want %s", reason, e.Class, want)
		}
	}
}

func TestErrorNamesFieldAndRead(t *testing.T) {
	for _, c := range []struct {
		err  *Error
		want string
	}{
		{New(faultv1.Reason_REASON_BAD_QUANTITY, "doses[2].dose_units", "1e3", "a decimal from 0 to 1000"),
			`doses[2].dose_units: read "1e3", want a decimal from 0 to 1000`},
		{New(faultv1.Reason_REASON_INVALID_FIELD, "side", "", "a side"), "side: want a side"},
		{New(faultv1.Reason_REASON_UNKNOWN_PRODUCT, "product", "aqua", ""), `product: read "aqua"; the formulary has no product of this name`},
		{New(faultv1.Reason_REASON_UNSETTLED_CONFLICT, "plan", "", ""), "plan: some fields hold different values that must be settled first"},
		{Wrap(faultv1.Reason_REASON_INTERNAL, errors.New("/var/lib/secret")), "something went wrong inside the server"},
		{New(faultv1.Reason_REASON_INVALID_FIELD, "name", Withheld("Ada\x00"), "text"), `name: read "4 characters, not shown", want text`},
	} {
		if got := c.err.Error(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

func TestOfAndAll(t *testing.T) {
	a := New(faultv1.Reason_REASON_INVALID_FIELD, "a", "1", "2")
	b := New(faultv1.Reason_REASON_BAD_QUANTITY, "b", "1", "2")
	wrapped := fmt.Errorf("check request: %w", List{a, b}.Err())
	if Of(wrapped) != a || len(All(wrapped)) != 2 || !Has(wrapped, b.Reason) {
		t.Errorf("list inside a wrap: Of %v, All %v", Of(wrapped), All(wrapped))
	}
	if Of(errors.New("x")) != nil || All(nil) != nil || List(nil).Err() != nil || Of(nil) != nil {
		t.Error("found a refusal where none is")
	}
	cause := errors.New("cause")
	if !errors.Is(Wrap(faultv1.Reason_REASON_INTERNAL, cause), cause) {
		t.Error("the cause is lost")
	}
}

func TestWithLeavesTheOriginal(t *testing.T) {
	a := New(faultv1.Reason_REASON_RESUME_FROM, "", "", "")
	b := a.With("counter", "7")
	c := b.With("other", "x\n")
	if a.Meta != nil || len(b.Meta) != 1 || c.Meta["counter"] != "7" || c.Meta["other"] != `x\x0a` {
		t.Errorf("%v %v %v", a.Meta, b.Meta, c.Meta)
	}
}

func TestShowLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		checkShown(t, string(rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "bytes")))
		checkShown(t, rapid.StringN(0, 200, -1).Draw(t, "text"))
	})
}

func FuzzShow(f *testing.F) {
	for _, s := range []string{"", "12.5", "a\x00b", "\u202egnp.exe", strings.Repeat("x", 65), "\xff\xfe", "\u200b\U000e0001\u00ad"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkShown(t, s) })
}

func checkShown(t interface{ Fatalf(string, ...any) }, s string) {
	got := Show(s)
	if n := utf8.RuneCountInString(got); n > MaxShownRunes {
		t.Fatalf("Show(%q) has %d characters", s, n)
	}
	for _, r := range got {
		if r == utf8.RuneError && !strings.ContainsRune(s, utf8.RuneError) || !unicode.IsPrint(r) {
			t.Fatalf("Show(%q) holds %U", s, r)
		}
	}
	if again := Show(got); again != got {
		t.Fatalf("Show twice: %q, then %q", got, again)
	}
}

// The field of an error is whole, however deep the element: it is what a person looks for.
func TestNew_KeepsTheFieldWhole(t *testing.T) {
	field := "injections[0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a].givings[0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6b].given.dose.dose_milliunits"
	if e := New(faultv1.Reason_REASON_INVALID_FIELD, field, "-1", "0 or more"); e.Field != field || !strings.HasPrefix(e.Error(), field+": ") {
		t.Errorf("%q in %q", e.Field, e.Error())
	}
}
