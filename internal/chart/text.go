package chart

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// normalise puts every string of m into Unicode normalization form C, in place, so that what looks the same is the same bytes on every device.
// Characters that no record may hold (controls, marks that turn or hide text) are for the schema's check to refuse, with the field's name.
func normalise(m protoreflect.Message) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.IsList():
			normaliseList(fd, v.List())
		case fd.Message() != nil && !fd.IsMap():
			normalise(v.Message())
		case fd.Kind() == protoreflect.StringKind && !norm.NFC.IsNormalString(v.String()):
			m.Set(fd, protoreflect.ValueOfString(norm.NFC.String(v.String())))
		}
		return true
	})
}

func normaliseList(fd protoreflect.FieldDescriptor, list protoreflect.List) {
	for i := range list.Len() {
		switch {
		case fd.Message() != nil:
			normalise(list.Get(i).Message())
		case fd.Kind() == protoreflect.StringKind:
			list.Set(i, protoreflect.ValueOfString(norm.NFC.String(list.Get(i).String())))
		}
	}
}

// Tokens is the words of a name or of what is searched for, in the form in which they are compared: without case, diacritics and punctuation, each
// once, sorted. Letters of every script count; letters that are variants of Latin ones (ø, ł, ß and the like) are written with those.
func Tokens(text string) []string {
	words := strings.FieldsFunc(plain(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsNumber(r) })
	slices.Sort(words)
	return slices.Compact(words)
}

// plain is text without case and diacritics. Upper case first makes one letter of those that have two lower ones (σ and ς).
func plain(text string) string {
	var b strings.Builder
	for _, r := range norm.NFKD.String(strings.ToLower(strings.ToUpper(text))) {
		if !unicode.Is(unicode.Mn, r) && r != '\'' && r != '’' {
			b.WriteString(latin(r))
		}
	}
	return b.String()
}

// latin is a variant of a Latin letter that has no decomposition, as it is written with plain ones; any other letter is itself.
func latin(r rune) string {
	switch r {
	case 'ß':
		return "ss"
	case 'æ':
		return "ae"
	case 'œ':
		return "oe"
	case 'ø':
		return "o"
	case 'đ', 'ð':
		return "d"
	case 'ł':
		return "l"
	case 'ı':
		return "i"
	case 'þ':
		return "th"
	}
	return string(r)
}
