package main

import (
	"context"
	"encoding/base64"
	"flag"
	"fmt"
	"io"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/device"
	"needlebook/internal/record"
)

const replicaPutHelp = `
Reads a record of the kind as JSON, with the names of the schema, and makes one
edit of what it holds. Without an id, in the JSON or by --id, it is a new
record; entries of a list without an id are new entries. With --mask only the
paths named are written, and those that the JSON lacks are cleared:

  echo '{"short_number": "11"}' | needlebook replica put vial --dir room1
  echo '{}' | needlebook replica put vial --dir room1 --id ID \
    --mask short_number

The edit is on the disk before the command prints it. --context takes the
context that get --json printed, to edit from what was read then.`

const replicaSettleHelp = `
Chooses one value of a field in conflict and keeps the reason with the record.
The value is one of those there (--take, as conflicts prints it), another one
(--value, as JSON), or none (--clear).

  needlebook replica settle vial ID short_number --dir room1 \
    --take 3f9c0d21:4 --reason "read from the vial"`

const replicaSignHelp = `
Signs what the record shows, exactly. MEANING is performed, supervised or
addendum; an addendum countersigns what came after a signature. A record with a
conflict cannot be signed.

  needlebook replica sign session ID --meaning performed --dir room1`

func runReplicaPut(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "put")
	id := f.String("id", "", "`id` of the record; a new one without it")
	mask := f.String("mask", "", "`paths` to write, with commas between")
	read := f.String("context", "", "`context` of the view that was edited from, base64")
	found, err := f.parse(args, "KIND")
	if err != nil {
		return err
	}
	req, err := readRecord(e, found[0], *id)
	if err != nil {
		return err
	}
	if *mask != "" {
		req.UpdateMask = strings.Split(*mask, ",")
	}
	if req.Context, err = base64.StdEncoding.DecodeString(*read); err != nil {
		return usagef("%s: --context: read %d characters, want the context of a view, unchanged", f.Name(), len(*read))
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		if *read == "" {
			key, _, err := chart.KeyOf(req.GetRecord())
			if err != nil {
				return err
			}
			req.Context = chart.WriteContext(d.State(key).Seen)
		}
		change, err := d.Chart().Edit(req)
		if err != nil {
			return err
		}
		return f.makeEdit(ctx, e, d, change)
	})
}

// readRecord reads a record of a kind as JSON from standard input, and gives ids to what is new.
func readRecord(e env, kindText, id string) (*chartv1.EditRecordRequest, error) {
	fd, _, err := readKind(kindText)
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(e.stdin, mostRequestBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read standard input: %w", err)
	}
	if len(data) > mostRequestBytes {
		return nil, usagef("standard input: read more than %d bytes, want one record", mostRequestBytes)
	}
	r := &chartv1.Record{}
	m := r.ProtoReflect().Mutable(fd).Message()
	if err := protojson.Unmarshal(data, m.Interface()); err != nil {
		return nil, usagef("standard input: %s", strings.TrimLeft(strings.TrimPrefix(err.Error(), "proto:"), " \u00a0"))
	}
	idField := m.Descriptor().Fields().ByNumber(1)
	switch own := m.Get(idField).String(); {
	case id != "" && own != "" && own != id:
		return nil, usagef("--id: read %q, and %q in the record; want one of them", id, own)
	case id != "":
		m.Set(idField, protoreflect.ValueOfString(id))
	}
	return &chartv1.EditRecordRequest{Record: r}, fillIDs(m)
}

// fillIDs gives the record, and each element in it, an id where it has none.
func fillIDs(m protoreflect.Message) error {
	fields := m.Descriptor().Fields()
	if idField := fields.ByNumber(1); m.Get(idField).String() == "" {
		id, err := uuid.NewRandom()
		if err != nil {
			return err
		}
		m.Set(idField, protoreflect.ValueOfString(id.String()))
	}
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !isCollection(fd) {
			continue
		}
		list := m.Get(fd).List()
		for n := range list.Len() {
			if err := fillIDs(list.Get(n).Message()); err != nil {
				return err
			}
		}
	}
	return nil
}

// isCollection reports whether a field's entries merge by their ids.
func isCollection(fd protoreflect.FieldDescriptor) bool {
	if !fd.IsList() || fd.Message() == nil {
		return false
	}
	element, _ := proto.GetExtension(fd.Message().Options(), optionsv1.E_Element).(bool)
	return element
}

type editJSON struct {
	RecordID string  `json:"record_id"`
	Kind     string  `json:"kind"`
	EditID   string  `json:"edit_id"`
	Dot      dotJSON `json:"dot"`
	View     rawJSON `json:"view"`
}

type dotJSON struct {
	ReplicaID string `json:"replica_id"`
	Counter   uint64 `json:"counter"`
}

// rawJSON is JSON that is written as it is.
type rawJSON []byte

// MarshalJSON implements json.Marshaler.
func (r rawJSON) MarshalJSON() ([]byte, error) { return r, nil }

// makeEdit makes the edit, which puts it on the disk, and prints the record after it.
func (f *replicaFlags) makeEdit(ctx context.Context, e env, d *device.Device, c chart.Change) error {
	made, err := d.Edit(ctx, c)
	if err != nil {
		return err
	}
	return f.printEdit(e, d, made)
}

func (f *replicaFlags) printEdit(e env, d *device.Device, made record.Edit) error {
	view, err := d.View(made.Key)
	if err != nil {
		return err
	}
	if f.json {
		raw, err := recordJSON(view)
		if err != nil {
			return err
		}
		return printAsJSON(e.stdout, editJSON{
			made.Key.ID.String(), kindName(made.Key.Kind), made.ID.String(), dotJSON{uuidText(made.Dot.Replica), made.Dot.Counter}, raw,
		})
	}
	t := recordText{}
	t.page.wrapped("", "Saved on this tablet: edit "+made.Dot.String()+".")
	t.view(made.Key, view)
	return t.write(e.stdout)
}

func runReplicaSettle(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "settle")
	take := f.String("take", "", "`edit` whose value is taken, as conflicts prints it")
	value := f.String("value", "", "another value, as `JSON`")
	clearIt := f.Bool("clear", false, "leave the field empty on purpose")
	reason := f.String("reason", "", "why, in `words`; kept with the record")
	found, err := f.parse(args, "KIND", "ID", "PATH")
	if err != nil {
		return err
	}
	key, err := readKey(found[0], found[1])
	if err != nil {
		return err
	}
	if chosen := flagsGiven(f.FlagSet, "take", "value", "clear"); chosen != 1 {
		return usagef("%s: read %d of --take, --value and --clear, want one", f.Name(), chosen)
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		req := &chartv1.SettleConflictRequest{Key: chart.WriteKey(key), Path: found[2], Reason: *reason}
		id, err := uuid.NewRandom()
		if err != nil {
			return err
		}
		req.RequestId, req.Context = id.String(), chart.WriteContext(d.State(key).Seen)
		switch {
		case *take != "":
			dot, err := findSibling(d.Chart().Conflicts(d.State(key)), found[2], *take)
			if err != nil {
				return err
			}
			req.Choice = &chartv1.SettleConflictRequest_Keep{Keep: dot}
		case *clearIt:
			req.Choice = &chartv1.SettleConflictRequest_Clear{Clear: true}
		default:
			req.Choice = &chartv1.SettleConflictRequest_ValueJson{ValueJson: *value}
		}
		by, err := d.Act()
		if err != nil {
			return err
		}
		change, err := d.Chart().Settle(d.State(key), req, by)
		if err != nil {
			return err
		}
		return f.makeEdit(ctx, e, d, change)
	})
}

func flagsGiven(flags *flag.FlagSet, names ...string) int {
	n := 0
	for _, name := range names {
		if fl := flags.Lookup(name); fl != nil && fl.Value.String() != fl.DefValue {
			n++
		}
	}
	return n
}

// findSibling finds the edit that text names among those of a conflict: the replica, in full or its first eight digits, a colon and the counter.
func findSibling(conflicts []*chartv1.Conflict, path, text string) (*chartv1.Dot, error) {
	var dots []*chartv1.Dot
	var all []string
	for _, c := range conflicts {
		if c.GetPath() != path {
			continue
		}
		for _, s := range c.GetSiblings() {
			for _, a := range s.GetAuthors() {
				all = append(all, dotText(a.GetDot()))
				full := fmt.Sprintf("%s:%d", a.GetDot().GetReplicaId(), a.GetDot().GetCounter())
				if text == dotText(a.GetDot()) || text == full {
					dots = append(dots, a.GetDot())
				}
			}
		}
	}
	if len(all) == 0 {
		return nil, usagef("--take: read %q, and %s holds no conflict on this tablet: nothing is to be settled", text, path)
	}
	if len(dots) != 1 {
		return nil, usagef("--take: read %q, want one of %s", text, strings.Join(all, ", "))
	}
	return dots[0], nil
}

// dotText is a dot as people read it.
func dotText(d *chartv1.Dot) string {
	return fmt.Sprintf("%s:%d", strings.SplitN(d.GetReplicaId(), "-", 2)[0], d.GetCounter())
}

func uuidText[T ~[16]byte](id T) string { return record.ID(id).String() }

func runReplicaSign(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "sign")
	meaning := f.String("meaning", "", "what is said by it: performed, supervised or addendum")
	found, err := f.parse(args, "KIND", "ID")
	if err != nil {
		return err
	}
	key, err := readKey(found[0], found[1])
	if err != nil {
		return err
	}
	s := chart.Signing{}
	if s.Meaning, s.Statement, err = readMeaning(f.Name(), *meaning); err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		if _, err := d.View(key); err != nil {
			return err
		}
		id, err := uuid.NewRandom()
		if err != nil {
			return err
		}
		s.ID = record.ID(id)
		if s.By, err = d.Act(); err != nil {
			return err
		}
		if err := d.CheckWhole(key); err != nil {
			return err
		}
		change, err := d.Chart().Sign(d.State(key), s)
		if err != nil {
			return err
		}
		return f.makeEdit(ctx, e, d, change)
	})
}

// readMeaning reads what a signature says, and gives the sentence that is signed.
func readMeaning(name, text string) (syncv1.SignatureMeaning, string, error) {
	switch text {
	case "performed":
		return syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, "I did this and this is what was done.", nil
	case "supervised":
		return syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED, "I supervised this.", nil
	case "addendum":
		return syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM, "I have read what came after the signature, and it belongs to the record.", nil
	}
	return 0, "", usagef("%s: --meaning: read %q, want performed, supervised or addendum", name, text)
}
