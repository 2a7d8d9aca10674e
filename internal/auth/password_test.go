package auth

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"needlebook/internal/fault"
)

// cheap keeps tests fast; TestDefaultCost runs the real one.
var cheap = Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}

func TestHasher(t *testing.T) {
	ctx := context.Background()
	h := NewHasher(cheap, 2)
	stored, err := h.Hash(ctx, "seven brown otters, singing")
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := ParsePasswordHash(stored.String())
	if err != nil || parsed != stored {
		t.Fatalf("parse of print: %v", err)
	}
	for password, want := range map[string]bool{"seven brown otters, singing": true, "seven brown otters, singinG": false, "": false} {
		if got, err := h.Matches(ctx, password, &parsed); err != nil || got != want {
			t.Errorf("Matches(%q) = %v, %v", password, got, err)
		}
	}
	if got, _ := h.Matches(ctx, "seven brown otters, singing", nil); got {
		t.Error("matches the hash of nobody")
	}
	again, _ := h.Hash(ctx, "seven brown otters, singing")
	if again.Salt == stored.Salt || again.Sum == stored.Sum {
		t.Error("the same salt twice")
	}
}

func TestPasswordIsComparedNormalised(t *testing.T) {
	ctx := context.Background()
	h := NewHasher(cheap, 1)
	stored, _ := h.Hash(ctx, "Stra\u00dfenb\u00e4ume im Mai") // ä as one character
	if ok, _ := h.Matches(ctx, "Stra\u00dfenba\u0308ume im Mai", &stored); !ok {
		t.Error("the same text in another normal form does not match")
	}
}

func TestArgon2idParametersAreUsed(t *testing.T) {
	ctx := context.Background()
	a, _ := NewHasher(cheap, 1).Hash(ctx, "x")
	for _, c := range []Cost{{128, 1, 1}, {64, 2, 1}, {64, 1, 2}} {
		other := a
		other.Cost = c
		if ok, _ := NewHasher(cheap, 1).Matches(ctx, "x", &other); ok {
			t.Errorf("cost %+v is not used", c)
		}
	}
}

func TestDefaultCost(t *testing.T) {
	h := NewHasher(DefaultCost(), 1)
	begin := time.Now()
	stored, err := h.Hash(context.Background(), "seven brown otters, singing")
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("one hash: %v", time.Since(begin))
	if !strings.HasPrefix(stored.String(), "$argon2id$v=19$m=65536,t=3,p=2$") {
		t.Errorf("encoded as %s", stored)
	}
	if NewHasher(cheap, 1).Stale(stored) != true || h.Stale(stored) {
		t.Error("Stale does not compare costs")
	}
}

func TestHasherIsCapped(t *testing.T) {
	h := NewHasher(cheap, 1)
	h.slots <- struct{}{}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := h.Matches(ctx, "x", nil); !errors.Is(err, context.Canceled) {
		t.Errorf("second hash beside the first: %v", err)
	}
	<-h.slots
	if _, err := h.Matches(context.Background(), "x", nil); err != nil {
		t.Error(err)
	}
}

func TestCheckPassword(t *testing.T) {
	for _, c := range []struct {
		password string
		second   bool
		want     bool
	}{
		{"seven brown otters", false, true},
		{"otter%7kelp", true, true},
		{"otter%7kelp", false, false},                    // 11 characters alone
		{"abcdefghijklmno", false, false},                // a run of letters
		{"Password12345678!", false, false},              // a common word with digits
		{"qwertyuiopasdfgh", false, false},               // runs of keys
		{"P@ssw0rdP@ssw0rd", false, false},               // written with signs
		{"adalovelacelondon", false, false},              // the name to sign in with and a city
		{"123456789012345678", false, false},             // digits alone
		{"aaaabbbbaaaabbbbaaaa", false, false},           // two characters
		{strings.Repeat("kelp otter ", 6), false, true},  // 66 characters: more than 64 are allowed
		{strings.Repeat("kelp8", 51) + "x", false, true}, // 256
		{strings.Repeat("kelp8", 51) + "xy", false, false},
		{"seven brown \xff otters", false, false},
		{"ﬁﬁﬁkelp otter", false, true}, // 13 typed, 16 after NFKC
		{"七つの茶色いカワウソが歌う夜明けの海", false, true},
	} {
		err := CheckPassword(c.password, c.second, "adalovelace")
		if (err == nil) != c.want {
			t.Errorf("%q, second factor %v: %v", c.password, c.second, err)
		}
		if e := fault.Of(err); err != nil && (e == nil || e.Field != "password" || e.Want == "" || strings.Contains(err.Error(), c.password)) {
			t.Errorf("%q: the answer is %v", c.password, err)
		}
	}
}

func FuzzParsePasswordHash(f *testing.F) {
	h, _ := NewHasher(cheap, 1).Hash(context.Background(), "x")
	f.Add(h.String())
	f.Add("$argon2id$v=19$m=65536,t=3,p=2$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA")
	f.Add("$argon2id$v=19$m=4294967295,t=99,p=255$$")
	f.Fuzz(func(t *testing.T, s string) {
		h, err := ParsePasswordHash(s)
		if err == nil && h.String() != s {
			t.Errorf("%q prints as %q", s, h)
		}
	})
}
