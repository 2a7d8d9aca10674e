// Package causal holds the identities and the partial order of edits: replicas, dots, version vectors and registers of concurrent values.
//
// A replica is one installation that makes edits. Its counters run from 1 without a gap over everything it writes, so "counter n of replica r" (a
// dot) names one edit for ever, and a version vector needs no list of exceptions: one that holds r:7 has seen every edit of r up to 7.
//
// The package is pure: standard library only, no clock, no I/O. Values are plain slices; functions that combine two vectors or registers return new
// ones and never write into their arguments.
package causal

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
)

// ReplicaID names one incarnation of one installation. It is 128 random bits, made at install and anew whenever the installation may have lost or
// shared its counters (restore, clone, rollback). The zero value is no replica.
type ReplicaID [16]byte

// IsZero reports whether r is no replica.
func (r ReplicaID) IsZero() bool { return r == ReplicaID{} }

// String is the id as 32 lower-case hexadecimal digits.
func (r ReplicaID) String() string { return hex.EncodeToString(r[:]) }

// ParseReplicaID is the inverse of String. It takes exactly what String prints, for a replica that is not zero.
func ParseReplicaID(s string) (ReplicaID, error) {
	var r ReplicaID
	if len(s) != 2*len(r) || bytes.ContainsAny([]byte(s), "ABCDEF") {
		return ReplicaID{}, fmt.Errorf("replica id %q: want 32 lower-case hexadecimal digits", s)
	}
	if _, err := hex.Decode(r[:], []byte(s)); err != nil {
		return ReplicaID{}, fmt.Errorf("replica id %q: %w", s, err)
	}
	if r.IsZero() {
		return ReplicaID{}, errors.New("replica id: all zeros name no replica")
	}
	return r, nil
}

// Dot names one edit: the counter-th of a replica. Counters begin at 1; the zero value is no dot.
type Dot struct {
	Replica ReplicaID
	Counter uint64
}

// IsZero reports whether d is no dot.
func (d Dot) IsZero() bool { return d == Dot{} }

// String is the dot as "replica:counter", with the replica's first eight digits, for people to read.
func (d Dot) String() string { return fmt.Sprintf("%s:%d", d.Replica.String()[:8], d.Counter) }

// Compare orders dots by replica, then counter. The order is for canonical forms only; it says nothing about time.
func (d Dot) Compare(o Dot) int {
	if c := bytes.Compare(d.Replica[:], o.Replica[:]); c != 0 {
		return c
	}
	switch {
	case d.Counter < o.Counter:
		return -1
	case d.Counter > o.Counter:
		return 1
	}
	return 0
}

// errShort is returned by decoders whose input ends early.
var errShort = errors.New("ends early")

// errLong is returned by decoders that meet a number longer than its shortest form, or bytes after the end.
var errLong = errors.New("not in its shortest form")

// Uvarint reads one unsigned varint in its shortest form from the front of b and returns it with the rest of b.
func Uvarint(b []byte) (uint64, []byte, error) {
	x, n := binary.Uvarint(b)
	switch {
	case n == 0:
		return 0, nil, errShort
	case n < 0, n > 1 && b[n-1] == 0:
		return 0, nil, errLong
	}
	return x, b[n:], nil
}
