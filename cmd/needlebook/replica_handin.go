package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/device"
	"needlebook/internal/durable"
	"needlebook/internal/fault"
	"needlebook/internal/wire"
)

const replicaSealHelp = `
Writes the replica's sealed edits to a file. Every edit that the server lacks is
kept a second time, sealed to the server's key, so that neither a forgotten
passphrase nor a revoked tablet loses the work. Nobody but the server can read
the file. Any replica of the organisation can hand it in.

  needlebook replica seal --dir room1 --out room1.sealed
  needlebook replica hand-in room1.sealed --dir room2`

const replicaHandInHelp = `
Hands sealed edits in at the server. There each one is held, under the name of
its author, until a person releases it or gives it up. What the server cannot
open, or what does not follow what it has, it keeps as it came and lists with
the device. Handed in twice, nothing happens twice.

Without FILE: those of this replica, after the server said that it was revoked.
What it could read is gone by then; the sealed edits are proven by its own key.
With FILE: those that replica seal wrote, in the name of whoever is signed in.

  needlebook replica hand-in --dir room1
  needlebook replica hand-in room1.sealed --dir room2`

// mostOutboxBytes bounds a file of sealed edits.
const mostOutboxBytes = 1 << 30

type sealedJSON struct {
	Edits int    `json:"sealed_edits"`
	File  string `json:"file"`
}

func runReplicaSeal(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "seal")
	f.withKey()
	out := f.String("out", "", "`file` to write")
	if _, err := f.parse(args); err != nil {
		return err
	}
	if *out == "" {
		return usagef("%s: --out is absent, want the file to write", f.Name())
	}
	box, err := f.outbox(ctx, e)
	if err != nil {
		return err
	}
	if err := durable.WriteFile(*out, box.AppendBinary(nil), 0o600); err != nil {
		return err
	}
	if f.json {
		return printAsJSON(e.stdout, sealedJSON{len(box.Edits), *out})
	}
	_, err = fmt.Fprintf(e.stdout, "%s sealed in %s.\n", counted(len(box.Edits), "edit", ""), *out)
	return err
}

// outbox is the sealed edits of a replica, also of one that was wiped.
func (f *replicaFlags) outbox(ctx context.Context, e env) (box wire.Outbox, err error) {
	cfg, err := f.config(e)
	if err != nil {
		return box, err
	}
	x, err := device.OpenWiped(ctx, cfg)
	if err == nil {
		box, err = x.Outbox(ctx)
		return box, errors.Join(err, x.Close())
	}
	if !errors.Is(err, device.ErrExists) {
		return box, err
	}
	err = f.withDevice(ctx, e, func(d *device.Device) error {
		box, err = d.Outbox(ctx)
		return err
	})
	return box, err
}

type handInJSON struct {
	Held    int            `json:"held_edits"`
	Known   int            `json:"known_edits"`
	Kept    int            `json:"kept_sealed"`
	Reasons map[string]int `json:"kept_reasons"`
	Error   string         `json:"error"`
}

func runReplicaHandIn(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "hand-in")
	f.withKey()
	found, err := f.parse(args, "[FILE]")
	if err != nil {
		return err
	}
	var rep device.HandInReport
	if len(found) == 0 {
		rep, err = f.handInOwn(ctx, e)
	} else {
		rep, err = f.handInFile(ctx, e, found[0])
	}
	if printErr := f.printHandIn(e, rep, err); printErr != nil {
		return errors.Join(err, printErr)
	}
	if err == nil && rep.Held+rep.Kept > 0 {
		return errHold
	}
	return err
}

// handInOwn hands in what a replica that was wiped kept.
func (f *replicaFlags) handInOwn(ctx context.Context, e env) (rep device.HandInReport, err error) {
	cfg, err := f.config(e)
	if err != nil {
		return rep, err
	}
	x, err := device.OpenWiped(ctx, cfg)
	switch {
	case errors.Is(err, device.ErrExists):
		return rep, usagef("%s: this replica is in use; needlebook replica sync sends its edits, and hand-in takes a FILE", f.Name())
	case err != nil:
		return rep, err
	}
	rep, err = x.HandIn(ctx)
	err = errors.Join(err, x.Close())
	if errors.Is(err, device.ErrSealed) {
		return rep, fmt.Errorf("%w; --passphrase-file names it, or hand in what replica seal writes from another replica", err)
	}
	return rep, err
}

func (f *replicaFlags) handInFile(ctx context.Context, e env, path string) (rep device.HandInReport, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return rep, err
	}
	if info.Size() > mostOutboxBytes {
		return rep, usagef("FILE: read %d bytes, want at most %d", info.Size(), mostOutboxBytes)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return rep, err
	}
	box, err := wire.ParseOutbox(b)
	if err != nil {
		return rep, usagef("FILE: %v; want a file that replica seal wrote", err)
	}
	err = f.withDevice(ctx, e, func(d *device.Device) error {
		rep, err = d.HandIn(ctx, box)
		return err
	})
	return rep, err
}

func (f *replicaFlags) printHandIn(e env, rep device.HandInReport, err error) error {
	if f.json {
		out := handInJSON{Held: rep.Held, Known: rep.Known, Kept: rep.Kept, Reasons: map[string]int{}}
		for r, n := range rep.Reasons {
			out.Reasons[fault.Name(r)] = n
		}
		if err != nil {
			out.Error = err.Error()
		}
		return printAsJSON(e.stdout, out)
	}
	if err != nil && rep.Held+rep.Known+rep.Kept == 0 {
		return nil
	}
	var p page
	p.row("held", counted(rep.Held, "edit", "that a person releases or gives up"))
	p.row("known", counted(rep.Known, "edit", "that the server had"))
	p.row("kept sealed", counted(rep.Kept, "edit", keptText(rep.Reasons)))
	return p.write(e.stdout)
}

// keptText names why edits are kept sealed, by how many.
func keptText(reasons map[faultv1.Reason]int) string {
	var out []string
	for r, n := range reasons {
		out = append(out, fmt.Sprintf("%s %d", fault.Name(r), n))
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

type wipedJSON struct {
	Revoked    bool   `json:"revoked"`
	DeviceID   string `json:"device_id"`
	Label      string `json:"label"`
	Server     string `json:"server"`
	WipedAt    string `json:"wiped_at"`
	SealedHere int    `json:"sealed_edits"`
}

// printWiped says how a replica stands that was revoked.
func (f *replicaFlags) printWiped(ctx context.Context, e env) error {
	cfg, err := f.config(e)
	if err != nil {
		return err
	}
	x, err := device.OpenWiped(ctx, cfg)
	if err != nil {
		return err
	}
	box, err := x.Outbox(ctx)
	if err = errors.Join(err, x.Close()); err != nil {
		return err
	}
	i := x.Identity()
	if f.json {
		return printAsJSON(e.stdout, wipedJSON{true, i.Device.String(), i.Label, i.Server, instant(i.WipedMS), len(box.Edits)})
	}
	var p page
	p.wrapped("", fmt.Sprintf("%s at %s was revoked. What it could read was removed from it on %s.", i.Label, i.Server, timeText(i.WipedMS)))
	p.row("sealed here", counted(len(box.Edits), "edit", ""))
	if len(box.Edits) > 0 {
		p.wrapped("  ", "needlebook replica hand-in sends them to the clinic server, where a person judges each.")
	}
	return p.write(e.stdout)
}
