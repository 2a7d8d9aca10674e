package record

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// Path is the way from a record to one of its elements: for each step the number of a collection field as a varint and the element's id (16 bytes).
// The empty path is the record itself. It is a string so that it can be compared and used as a key; its bytes are canonical.
type Path string

// maxSteps bounds how deep elements nest: a giving in an injection is two.
const maxSteps = 4

// Step is one step of a path.
type Step struct {
	Field   uint32 // the collection's field number
	Element ID
}

// Child is the path of an element in a collection of p.
func (p Path) Child(field uint32, element ID) Path {
	b := make([]byte, 0, len(p)+18)
	b = append(b, p...)
	b = binary.AppendUvarint(b, uint64(field))
	return Path(append(b, element[:]...))
}

// Cut splits p into its first step and the rest. It is for paths that ParsePath accepted and that are not empty.
func (p Path) Cut() (Step, Path) {
	step, rest, err := cutStep(p)
	if err != nil {
		panic("record: path was not parsed: " + err.Error())
	}
	return step, rest
}

// Parent is the path without its last step; the parent of the record itself is the record itself.
func (p Path) Parent() Path {
	end := 0
	for rest := p; rest != ""; {
		end = len(p) - len(rest)
		_, rest = rest.Cut()
	}
	return p[:end]
}

// ParsePath reads a canonical path.
func ParsePath(b []byte) (Path, error) {
	p := Path(b)
	steps := 0
	for rest := p; rest != ""; steps++ {
		var err error
		if _, rest, err = cutStep(rest); err != nil {
			return "", fmt.Errorf("path step %d: %w", steps+1, err)
		}
	}
	if steps > maxSteps {
		return "", fmt.Errorf("path of %d steps: at most %d", steps, maxSteps)
	}
	return p, nil
}

func cutStep(p Path) (Step, Path, error) {
	field, n := uint64(0), 0
	for shift := 0; ; n++ {
		if n == len(p) || n == 5 {
			return Step{}, "", errors.New("field number ends early or is too long")
		}
		field |= uint64(p[n]&0x7f) << shift
		shift += 7
		if p[n] < 0x80 {
			n++
			break
		}
	}
	if field == 0 || field > maxFieldNumber || n > 1 && p[n-1] == 0 {
		return Step{}, "", fmt.Errorf("field number %d is none", field)
	}
	if len(p) < n+16 {
		return Step{}, "", errors.New("element id ends early")
	}
	id := ID([]byte(p[n : n+16]))
	if id.IsZero() {
		return Step{}, "", errors.New("element id is zero")
	}
	return Step{uint32(field), id}, p[n+16:], nil
}

// maxFieldNumber is the highest field number that protobuf has.
const maxFieldNumber = 1<<29 - 1

// Register names one register of a record: a field of the record or of the element at Path.
type Register struct {
	Path  Path
	Field uint32
}
