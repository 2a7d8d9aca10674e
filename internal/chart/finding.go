package chart

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/internal/record"
)

// The codes of what only a merge can see. They are stable.
const (
	CodeVialOverdrawn  = "VIAL_OVERDRAWN"
	CodeIntervalShort  = "INTERVAL_SHORT"
	CodePatientTwice   = "PATIENT_POSSIBLY_TWICE"
	findingIDStatement = "needlebook finding 1\x00"
)

// FindingID is the id of a finding: SHA-256 in hexadecimal of its code and subject, so that every replica finds the same one. The order of the
// subject's parts does not count.
func FindingID(code string, subject ...string) string {
	parts := slices.Clone(subject)
	slices.Sort(parts)
	sum := sha256.Sum256([]byte(findingIDStatement + code + "\x00" + strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:])
}

// newFinding is a finding about records, with its id; about and id name the records as kind/id.
func newFinding(code string, keys []record.Key, more ...string) *dosev1.Finding {
	var subject []string
	for _, k := range keys {
		subject = append(subject, k.String())
	}
	subject = append(subject, more...)
	slices.Sort(subject)
	return &dosev1.Finding{Code: code, About: subject, FindingId: FindingID(code, subject...), Figures: map[string]string{}}
}
