package tabletcore

import (
	"encoding/binary"
	"strings"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// statement is what the tablet's key signs besides pages (docs/protocol.md): {"purpose", "parts"}. The parts of a purpose are the code and nothing else for
// enrol, whose public key stands beside the request; the name and the request id for sign-in; the token and the request id for refresh.
func statement(_ *Core, r request) (answer, error) {
	var m struct {
		Purpose string   `json:"purpose"`
		Parts   []string `json:"parts"`
	}
	if err := r.read(&m); err != nil {
		return answer{}, err
	}
	var parts [][]byte
	for _, p := range m.Parts {
		parts = append(parts, []byte(p))
	}
	switch {
	case m.Purpose == "enrol" && len(parts) == 1 && len(r.bytes) == 1:
		code, err := canonicalCode(m.Parts[0])
		if err != nil {
			return answer{}, err
		}
		parts = [][]byte{[]byte(code), r.bytes[0]}
	case (m.Purpose == "sign-in" || m.Purpose == "refresh") && len(parts) == 2 && len(r.bytes) == 0:
	default:
		return answer{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "purpose", m.Purpose, "enrol, sign-in or refresh, with their parts")
	}
	b := []byte("needlebook " + m.Purpose + " v1\x00")
	for _, p := range parts {
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(p))), p...)
	}
	return answer{json: struct{}{}, bytes: [][]byte{b}}, nil
}

// codeAlphabet is Crockford's base32.
const codeAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

const codeLength = 16

// canonicalCode is a one-time code as its statement has it, from how people type it: in either case, with or without hyphens and spaces, O for 0, I or L
// for 1.
func canonicalCode(typed string) (string, error) {
	code := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			r -= 'a' - 'A'
		}
		switch r {
		case '-', ' ':
			return -1
		case 'O':
			return '0'
		case 'I', 'L':
			return '1'
		}
		return r
	}, typed)
	if len(code) != codeLength || strings.Trim(code, codeAlphabet) != "" {
		return "", fault.New(faultv1.Reason_REASON_BAD_CODE, "code", fault.Withheld(typed), "the code as the administrator's screen shows it")
	}
	return code, nil
}
