package service

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"needlebook/internal/fault"
)

// figureEndings are how the names of fields end that hold a figure as text, with its unit.
func figureEndings() []string { return []string{"_units", "_ml", "_percent", "_mm", "_fraction"} }

// isFigure reports whether a text field holds a figure.
func isFigure(fd protoreflect.FieldDescriptor) bool {
	return slices.ContainsFunc(figureEndings(), func(ending string) bool { return strings.HasSuffix(string(fd.Name()), ending) })
}

// shownTexts are the text fields that name something of the schema, of the anatomy or of the formulary, or a place in the request itself. What stands there
// may be shown: it is no more than a word that a client chose from a list. All other text may tell who a patient is, or be a code or a password.
func shownTexts() []string {
	return []string{
		"update_mask", "path", "paths", "ref", "refs", "about", "product", "other_product", "products", "region", "regions", "muscle", "muscles", "market",
		"media_type", "syringe_code", "rule_code", "time_zone", "target",
	}
}

// aboutBirth are the fields below which every figure is part of a date of birth.
func aboutBirth(path string) bool {
	return strings.Contains(path, "birth") || strings.Contains(path, "born")
}

// looksNumeric reports whether text is what a person may have meant as a number; other text in a field of figures is not shown.
func looksNumeric(text string) bool {
	return len(text) <= 32 && strings.Trim(text, "0123456789eE+.,_ /-") == ""
}

// readText is what an error shows of text that was read in a field.
func readText(fd protoreflect.FieldDescriptor, path, text string) string {
	name := string(fd.Name())
	switch {
	case aboutBirth(path):
		return fault.Withheld(text)
	case slices.Contains(shownTexts(), name), fd.Kind() == protoreflect.EnumKind:
		return fault.Show(text)
	case (fd.Kind() != protoreflect.StringKind && fd.Kind() != protoreflect.BytesKind || isFigure(fd)) && looksNumeric(text):
		return fault.Show(text)
	}
	return fault.Withheld(text)
}

// readFigure is what an error shows of a number or a truth value.
func readFigure(fd protoreflect.FieldDescriptor, path, figure string) string {
	if aboutBirth(path) || fd.Kind() == protoreflect.StringKind && !isFigure(fd) {
		return "a number, not shown"
	}
	return fault.Show(figure)
}
