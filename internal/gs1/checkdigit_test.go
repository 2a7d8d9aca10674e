package gs1_test

import (
	"errors"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/gs1"
)

// slowCheckDigit goes by the table of the General Specifications ("Standard check digit calculations", from memory): the number stands at the right
// of 17 columns, every column has its multiplier, and the check digit is counted up from the sum to the next multiple of ten.
func slowCheckDigit(digits string) string {
	multipliers := [17]int{3, 1, 3, 1, 3, 1, 3, 1, 3, 1, 3, 1, 3, 1, 3, 1, 3}
	columns := strings.Repeat("0", 17-len(digits)) + digits
	sum := 0
	for i, column := range columns {
		sum += multipliers[i] * int(column-'0')
	}
	up := 0
	for (sum+up)%10 != 0 {
		up++
	}
	return strconv.Itoa(up)
}

// The worked example of the General Specifications, from memory: 37610425002123456 sums to 101 and gets 9. The others are read: numbers that the
// GS1 Barcode Syntax Dictionary tests its check digit with (src/lint_csum.c).
func TestCheckDigit_Published(t *testing.T) {
	for number := range strings.FieldsSeq("376104250021234569 02345673 416000336108 1234567890128 12345678901231 123456789012345675") {
		last := len(number) - 1
		if got, ok := gs1.CheckDigit(number[:last]); !ok || got != number[last] {
			t.Errorf("%s: got %c, %t", number, got, ok)
		}
	}
}

func TestCheckDigit_TwinAndSlips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.StringMatching(`[0-9]{7,17}`).Draw(t, "digits")
		got, ok := gs1.CheckDigit(digits)
		if want := slowCheckDigit(digits); !ok || string(got) != want {
			t.Fatalf("%s gets %c, want %s", digits, got, want)
		}
		// One wrong digit is always found.
		at := rapid.IntRange(0, len(digits)-1).Draw(t, "at")
		slip := []byte(digits)
		slip[at] = '0' + (slip[at]-'0'+byte(rapid.IntRange(1, 9).Draw(t, "slip")))%10
		if again, _ := gs1.CheckDigit(string(slip)); again == got {
			t.Fatalf("%s and %s have the same check digit", digits, slip)
		}
	})
}

func TestCheckDigit_NoDigits(t *testing.T) {
	for _, text := range []string{"", " ", "1a", "١٢", "-1"} {
		if _, ok := gs1.CheckDigit(text); ok {
			t.Errorf("%q has a check digit", text)
		}
	}
}

func TestParseGTIN(t *testing.T) {
	for text, want := range map[string]string{
		"02345673": "00000002345673", "416000336108": "00416000336108", "1234567890128": "01234567890128", "12345678901231": "12345678901231",
	} {
		if got, err := gs1.ParseGTIN(text); err != nil || got != want {
			t.Errorf("%s is %s, %v", text, got, err)
		}
	}
	for text, want := range map[string]error{
		"": gs1.ErrLength, "1": gs1.ErrLength, "234567890": gs1.ErrLength, "123456789012345675": gs1.ErrLength, "02345674": gs1.ErrCheckDigit,
		"0234 5673": gs1.ErrCharacter, "1234567890l28": gs1.ErrCharacter, "12345678９0128": gs1.ErrCharacter,
	} {
		if got, err := gs1.ParseGTIN(text); !errors.Is(err, want) || got != "" {
			t.Errorf("%q is %q, %v", text, got, err)
		}
	}
}
