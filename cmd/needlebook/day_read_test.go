package main

import (
	"math"
	"testing"
)

// TestReadCelsius: thousandths of a degree, exactly, and nothing that only looks like a temperature.
func TestReadCelsius(t *testing.T) {
	for text, want := range map[string]int32{"4.5": 4500, "0": 0, "-0.5": -500, "8": 8000, "-20": -20_000, "2.125": 2125} {
		if got, err := readCelsius("--celsius", text); err != nil || *got != want {
			t.Errorf("%q: %v, want %d", text, err, want)
		}
	}
	for _, text := range []string{"-", ".", ".5", "5.", "4.5678", "+4", "4,5", "4.5C", "1e3", "300", "--4", " 4"} {
		if got, err := readCelsius("--celsius", text); err == nil {
			t.Errorf("%q was read as %d", text, *got)
		}
	}
	if got, err := readCelsius("--celsius", ""); got != nil || err != nil {
		t.Errorf("nothing: %v, %v", got, err)
	}
}

// FuzzReadCelsius: no text panics, and what is read is between absolute zero and its counterpart.
func FuzzReadCelsius(f *testing.F) {
	f.Add("4.5")
	f.Add("-0.001")
	f.Fuzz(func(t *testing.T, text string) {
		if got, err := readCelsius("--celsius", text); err == nil && got != nil && math.Abs(float64(*got)) > 273_150 {
			t.Errorf("%q was read as %d", text, *got)
		}
	})
}
