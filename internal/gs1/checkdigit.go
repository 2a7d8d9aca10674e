package gs1

import "strings"

// CheckDigit is the standard check digit that belongs behind digits: the sum of the digits, weighted 3, 1, 3 ... from the right, and the check
// digit make a multiple of ten. It is false when digits is empty or holds anything but digits.
func CheckDigit(digits string) (byte, bool) {
	sum, weight := 0, 3
	for i := len(digits) - 1; i >= 0; i-- {
		if !isDigit(digits[i]) {
			return 0, false
		}
		sum = (sum + weight*int(digits[i]-'0')) % 10
		weight = 4 - weight
	}
	return byte('0' + (10-sum)%10), digits != ""
}

// checkDigitFits says whether the last digit of number fits the others.
func checkDigitFits(number string) bool {
	last := len(number) - 1
	if last < 1 {
		return false
	}
	digit, ok := CheckDigit(number[:last])
	return ok && digit == number[last]
}

// ParseGTIN reads a trade item number as a person types it: 8, 12, 13 or 14 digits whose last fits. It answers the 14 digits that stand for it, with
// zeros before. The error is an [*Error] with ErrLength, ErrCharacter or ErrCheckDigit.
func ParseGTIN(number string) (string, error) {
	fault := &Error{AI: "01", Title: "GTIN", Position: 1, Read: cut(number)}
	switch at := strings.IndexFunc(number, func(r rune) bool { return r < '0' || '9' < r }); {
	case at >= 0:
		fault.Reason, fault.Position, fault.Want = ErrCharacter, at+1, "digits"
	case len(number) != 8 && len(number) != 12 && len(number) != 13 && len(number) != 14:
		fault.Reason, fault.Want = ErrLength, "8, 12, 13 or 14 digits"
	case !checkDigitFits(number):
		fault.Reason, fault.Position = ErrCheckDigit, len(number)
	default:
		return padGTIN(number), nil
	}
	return "", fault
}

// padGTIN puts zeros before a number of at most 14 digits.
func padGTIN(number string) string { return strings.Repeat("0", 14-len(number)) + number }

func isDigit(b byte) bool { return '0' <= b && b <= '9' }
