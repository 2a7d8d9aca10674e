package export

import (
	"fmt"
	"io"
	"strings"
)

// FHIRMediaType and NDJSONMediaType are the media types of Bundle and WriteNDJSON.
const (
	FHIRMediaType   = "application/fhir+json; fhirVersion=4.0"
	NDJSONMediaType = "application/fhir+ndjson; fhirVersion=4.0"
)

// Bundle is the records as one FHIR Bundle of the type collection, one line of JSON with a line feed at its end. References within it are the full URLs
// of its entries.
func (x *Export) Bundle() ([]byte, error) {
	resources, refs := x.build()
	for _, r := range refs {
		if kind, id, ok := strings.Cut(r.Reference, "/"); ok {
			r.Reference = fullURL(kind, id)
		}
	}
	out := bundle{ResourceType: "Bundle", Type: "collection"}
	names := make([]string, 0, len(resources))
	for _, r := range resources {
		h := r.head()
		names = append(names, h.ResourceType+"/"+h.ID)
		out.Entry = append(out.Entry, bundleEntry{fullURL(h.ResourceType, h.ID), r})
	}
	out.ID = derivedID("bundle/" + strings.Join(names, " "))
	b, err := jsonOf(out)
	if err != nil {
		return nil, fmt.Errorf("write the bundle: %w", err)
	}
	return append(b, '\n'), nil
}

// fullURL is a URN for a resource. Records of two kinds may share an id, and one record may become two resources, so it is derived from type and id.
func fullURL(kind, id string) string { return "urn:uuid:" + derivedID("url/"+kind+"/"+id) }

// WriteNDJSON writes the records as FHIR resources, one a line, each line ended by a line feed. References are relative: type and id.
func (x *Export) WriteNDJSON(w io.Writer) error {
	resources, _ := x.build()
	for _, r := range resources {
		b, err := jsonOf(r)
		if err != nil {
			return fmt.Errorf("write %s/%s: %w", r.head().ResourceType, r.head().ID, err)
		}
		if _, err := w.Write(append(b, '\n')); err != nil {
			return fmt.Errorf("write the export: %w", err)
		}
	}
	return nil
}
