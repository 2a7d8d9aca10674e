package main

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/device"
	"needlebook/internal/reckon"
)

const replicaGetHelp = `
Shows the record as this replica has it: the server's state joined with its own
edits that are not there yet. Below it stand the fields in conflict, the edits
that are held, and what came after a signature.

  needlebook replica get session ID --dir room1
  needlebook replica get session ID --dir room1 --json`

const replicaRecoveredHelp = `
After a restore of the server, lists the values that this replica had from it
and that are in nobody's hands now. Each is taken with a new edit, or dismissed.

  needlebook replica recovered --dir room1
  needlebook replica recovered --dir room1 --take 1a2b3c4d`

func runReplicaGet(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "get")
	found, err := f.parse(args, "KIND", "ID")
	if err != nil {
		return err
	}
	key, err := readKey(found[0], found[1])
	if err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		view, err := d.View(key)
		if err != nil {
			return err
		}
		if f.json {
			return printRecordJSON(e.stdout, view)
		}
		var t recordText
		t.view(key, view)
		return t.write(e.stdout)
	})
}

func runReplicaList(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "list")
	found, err := f.parse(args, "KIND")
	if err != nil {
		return err
	}
	fd, kind, err := readKind(found[0])
	if err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		views := []rawJSON{}
		var p page
		for _, key := range d.Keys(kind) {
			view, err := d.View(key)
			if err != nil {
				return err
			}
			raw, err := recordJSON(view)
			if err != nil {
				return err
			}
			views = append(views, raw)
			text := summary(view.GetRecord().ProtoReflect().Get(fd).Message().Interface())
			if needs := needsText(view); needs != "" {
				text = strings.TrimPrefix(text+"; "+needs, "; ")
			}
			p.broken(key.ID.String()+"  ", "    ", cutWords(text))
		}
		if f.json {
			return printAsJSON(e.stdout, struct {
				Views []rawJSON `json:"views"`
			}{views})
		}
		if len(views) == 0 {
			p.line("No " + found[0] + " on this tablet.")
		}
		return p.write(e.stdout)
	})
}

// needsText says what of a record needs a person.
func needsText(v *chartv1.RecordView) string {
	var parts []string
	for _, x := range []struct {
		n    int
		what string
	}{{len(v.GetConflicts()), "in conflict"}, {len(v.GetHeldEdits()), "held"}, {len(v.GetLateEntries()), "late"}} {
		if x.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.n, x.what))
		}
	}
	return strings.Join(parts, ", ")
}

func runReplicaConflicts(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "conflicts")
	if _, err := f.parse(args); err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		list := d.Conflicts()
		if f.json {
			return printFullJSON(e, &chartv1.ListConflictsResponse{Conflicts: list})
		}
		var t recordText
		t.line(counted(len(list), "field", "in conflict."))
		t.conflicts(list, true)
		return t.write(e.stdout)
	})
}

// printFullJSON prints a list with its empty fields, so that a program finds them.
func printFullJSON(e env, m proto.Message) error {
	b, err := reckon.MarshalJSON(m)
	if err != nil {
		return err
	}
	_, err = e.stdout.Write(append(b, '\n'))
	return err
}

// counted is a number with its noun.
func counted(n int, noun, rest string) string {
	if n != 1 {
		noun += "s"
	}
	return strings.TrimSpace(fmt.Sprintf("%d %s %s", n, noun, rest))
}

func runReplicaHeld(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "held")
	all := f.Bool("all", false, "also those that were released or given up since")
	if _, err := f.parse(args); err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		list := d.Held(*all)
		if f.json {
			return printFullJSON(e, &chartv1.ListHeldEditsResponse{HeldEdits: list})
		}
		var t recordText
		t.line(counted(len(list), "edit", "held."))
		t.held(list, true)
		return t.write(e.stdout)
	})
}

type recoveredJSON struct {
	Recovered []recoveredValueJSON `json:"recovered"`
}

type recoveredValueJSON struct {
	Kind     string `json:"kind"`
	RecordID string `json:"record_id"`
	device.Recovered
}

func runReplicaRecovered(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "recovered")
	take := f.String("take", "", "take the value of this `ref`, with a new edit")
	dismiss := f.String("dismiss", "", "forget the value of this `ref`")
	if _, err := f.parse(args); err != nil {
		return err
	}
	if *take != "" && *dismiss != "" {
		return usagef("%s: want one of --take and --dismiss", f.Name())
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		switch {
		case *take != "":
			r, err := findRecovered(d, "--take", *take)
			if err != nil {
				return err
			}
			made, err := d.Take(ctx, r)
			if err != nil {
				return err
			}
			return f.printEdit(e, d, made)
		case *dismiss != "":
			r, err := findRecovered(d, "--dismiss", *dismiss)
			if err != nil {
				return err
			}
			if err := d.Dismiss(ctx, r); err != nil {
				return err
			}
		}
		return f.printRecovered(e, d)
	})
}

func findRecovered(d *device.Device, name, ref string) (device.Recovered, error) {
	var all []string
	for _, r := range d.Recovered() {
		if r.Ref == ref {
			return r, nil
		}
		all = append(all, r.Ref)
	}
	if len(all) == 0 {
		return device.Recovered{}, usagef("%s: read %q, and no value waits here: the server lost none of this tablet's in a restore", name, ref)
	}
	return device.Recovered{}, usagef("%s: read %q, want one of %s", name, ref, strings.Join(all, ", "))
}

func (f *replicaFlags) printRecovered(e env, d *device.Device) error {
	list := d.Recovered()
	if f.json {
		out := recoveredJSON{Recovered: []recoveredValueJSON{}}
		for _, r := range list {
			out.Recovered = append(out.Recovered, recoveredValueJSON{kindName(r.Key.Kind), r.Key.ID.String(), r})
		}
		return printAsJSON(e.stdout, out)
	}
	var t recordText
	t.line(counted(len(list), "value", "that the server lost in a restore."))
	for _, r := range list {
		t.line("")
		t.line(r.Ref + "  " + kindName(r.Key.Kind) + " " + r.Key.ID.String())
		t.wrapped("  ", cutWords(r.Path)+" = "+cutWords(t.jsonText(r.Key.Kind, r.Path, r.Cleared, r.ValueJSON)))
		t.wrapped("  ", "by "+r.StaffName+" "+r.StaffID+", "+timeText(r.AuthoredAtMS))
	}
	return t.write(e.stdout)
}
