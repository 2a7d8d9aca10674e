package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/device"
	"needlebook/internal/record"
	"needlebook/internal/replica"
)

const (
	// replicaVariable names the folder of the replica where --dir does not.
	replicaVariable = "NEEDLEBOOK_REPLICA"
	// mostSecretBytes bounds a file with a password or a passphrase.
	mostSecretBytes = 4 << 10
)

func replicaCommand() command {
	return command{name: "replica", short: "chart without a screen: an offline tablet for scripts and tests", sub: []command{
		{name: "init", usage: "--server URL --code CODE [flags]", short: "make a replica and enrol it at a server", long: replicaInitHelp, run: runReplicaInit},
		{name: "sign-in", usage: "--name NAME --password-file FILE [flags]", short: "say who works on the replica",
			long: replicaSignInHelp, run: runReplicaSignIn},
		{name: "put", usage: "KIND [flags] <record.json", short: "make one edit of a record, or a new record", long: replicaPutHelp, run: runReplicaPut},
		{name: "get", usage: "KIND ID [flags]", short: "show a record with what needs a person", long: replicaGetHelp, run: runReplicaGet},
		{name: "list", usage: "KIND [flags]", short: "list the records of a kind", run: runReplicaList},
		{name: "sync", usage: "[flags]", short: "exchange with the server until both are in step", long: replicaSyncHelp, run: runReplicaSync},
		{name: "conflicts", usage: "[flags]", short: "list the fields that hold more than one value", run: runReplicaConflicts},
		{name: "settle", usage: "KIND ID PATH --reason TEXT [flags]", short: "settle a conflict by an edit that saw it all",
			long: replicaSettleHelp, run: runReplicaSettle},
		{name: "sign", usage: "KIND ID --meaning MEANING [flags]", short: "sign a record as it stands", long: replicaSignHelp, run: runReplicaSign},
		{name: "held", usage: "[flags]", short: "list the edits that the server held back, with what to do", run: runReplicaHeld},
		{name: "recovered", usage: "[flags]", short: "list, take or dismiss values that a restored server lost",
			long: replicaRecoveredHelp, run: runReplicaRecovered},
		{name: "hold", usage: "PATIENT-ID [flags]", short: "ask for a patient's whole records at the next sync", run: runReplicaHold},
		{name: "unhold", usage: "PATIENT-ID [flags]", short: "ask to hold a patient's records no longer", run: runReplicaUnhold},
		{name: "seal", usage: "--out FILE [flags]", short: "write the sealed copy of what the server lacks to a file", long: replicaSealHelp, run: runReplicaSeal},
		{name: "hand-in", usage: "[FILE] [flags]", short: "hand sealed edits in, to be held for a person", long: replicaHandInHelp, run: runReplicaHandIn},
		{name: "digest", usage: "[flags]", short: "print the digests that are equal where the edits are", run: runReplicaDigest},
		{name: "status", usage: "[flags]", short: "say what is not sent yet and how the replica stands", run: runReplicaStatus},
	}}
}

// replicaFlags are the flags that every command of a replica has.
type replicaFlags struct {
	*flag.FlagSet
	dir            string
	json           bool
	passphraseFile string
	limits         replica.Limits
}

func newReplicaFlags(e env, name string) *replicaFlags {
	f := &replicaFlags{FlagSet: newFlags("replica " + name)}
	f.StringVar(&f.dir, "dir", e.getenv(replicaVariable), "`folder` of the replica; without it $"+replicaVariable)
	f.BoolVar(&f.json, "json", false, "print the answer as JSON")
	return f
}

// withKey adds the flag for commands that sign with the device's key.
func (f *replicaFlags) withKey() {
	f.StringVar(&f.passphraseFile, "passphrase-file", "", "`file` with the passphrase that seals the device's key")
}

// parse parses flags wherever they stand among the arguments, and wants one argument for each name; a name in brackets may be left out.
func (f *replicaFlags) parse(args []string, names ...string) ([]string, error) {
	var found []string
	for {
		rest, err := parseFlagsAnd(f.FlagSet, args)
		if err != nil {
			return nil, err
		}
		if len(rest) == 0 {
			break
		}
		found, args = append(found, rest[0]), rest[1:]
	}
	switch {
	case len(found) > len(names):
		return nil, usagef("%s: read %q, want flags only after %d arguments", f.Name(), found[len(names)], len(names))
	case len(found) < len(names) && !strings.HasPrefix(names[len(found)], "["):
		return nil, usagef("%s: %s is absent", f.Name(), names[len(found)])
	case f.dir == "":
		return nil, usagef("%s: --dir is absent, want the folder of the replica", f.Name())
	}
	return found, nil
}

func (f *replicaFlags) config(e env) (device.Config, error) {
	cfg := device.Config{Dir: f.dir, Now: e.now, Random: rand.Reader, Limits: f.limits}
	if f.passphraseFile == "" {
		return cfg, nil
	}
	var err error
	cfg.Passphrase, err = readSecret(f.Name()+": --passphrase-file", f.passphraseFile)
	return cfg, err
}

// withDevice opens the replica, runs fn and closes it.
func (f *replicaFlags) withDevice(ctx context.Context, e env, fn func(*device.Device) error) error {
	cfg, err := f.config(e)
	if err != nil {
		return err
	}
	d, err := device.Open(ctx, cfg)
	switch {
	case errors.Is(err, device.ErrNone), errors.Is(err, device.ErrNotEnrolled):
		return fmt.Errorf("%w; needlebook replica init makes one", err)
	case errors.Is(err, device.ErrWiped):
		return fmt.Errorf("%w; needlebook replica status says what is sealed here", err)
	case err != nil:
		return err
	}
	err = errors.Join(fn(d), d.Close())
	switch {
	case errors.Is(err, device.ErrNobody):
		return fmt.Errorf("%w; needlebook replica sign-in says who does", err)
	case errors.Is(err, device.ErrSealed):
		return fmt.Errorf("%w; --passphrase-file names it", err)
	}
	return err
}

// readSecret reads the one line of a file. Its text is never shown.
func readSecret(flagName, path string) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer file.Close()
	b, err := io.ReadAll(io.LimitReader(file, mostSecretBytes+1))
	if err != nil {
		return "", err
	}
	text := strings.TrimRight(string(b), "\r\n")
	if text == "" || len(b) > mostSecretBytes || strings.ContainsAny(text, "\r\n") {
		return "", usagef("%s: read a file of %d bytes, want one line that is not empty", flagName, len(b))
	}
	return text, nil
}

// kinds are the fields of Record: one for each kind of record.
func kinds() protoreflect.FieldDescriptors {
	return (*chartv1.Record)(nil).ProtoReflect().Descriptor().Fields()
}

// readKind reads the name of a kind, such as session.
func readKind(text string) (protoreflect.FieldDescriptor, record.Kind, error) {
	var all []string
	for i := range kinds().Len() {
		fd := kinds().Get(i)
		if string(fd.Name()) == text {
			return fd, kindOf(fd), nil
		}
		all = append(all, string(fd.Name()))
	}
	return nil, 0, usagef("KIND: read %q, want one of %s", text, strings.Join(all, ", "))
}

func kindOf(fd protoreflect.FieldDescriptor) record.Kind {
	kind, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Record).(record.Kind)
	return kind
}

// kindName is a kind as people type it.
func kindName(kind record.Kind) string {
	for i := range kinds().Len() {
		if fd := kinds().Get(i); kindOf(fd) == kind {
			return string(fd.Name())
		}
	}
	return kind.String()
}

// readKey reads the two arguments that name a record.
func readKey(kindText, idText string) (record.Key, error) {
	_, kind, err := readKind(kindText)
	if err != nil {
		return record.Key{}, err
	}
	id, err := readID("ID", idText)
	return record.Key{Kind: kind, ID: id}, err
}

func readID(name, text string) (record.ID, error) {
	id, err := record.ParseID(text)
	if err != nil {
		return id, usagef("%s: read %q, want a UUID in lower case", name, text)
	}
	return id, nil
}

// recordJSON writes a message that holds records as JSON: names as in the schema, only what is there. The same message gives the same bytes.
func recordJSON(m proto.Message) ([]byte, error) {
	raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("write JSON: %w", err)
	}
	var out bytes.Buffer
	err = json.Indent(&out, raw, "", "  ") // protojson varies its white space on purpose
	return out.Bytes(), err
}

func printRecordJSON(w io.Writer, m proto.Message) error {
	b, err := recordJSON(m)
	if err != nil {
		return err
	}
	_, err = w.Write(append(b, '\n'))
	return err
}

func printAsJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	encoder.SetEscapeHTML(false)
	return encoder.Encode(v)
}
