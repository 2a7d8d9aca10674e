package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/device"
	"needlebook/internal/formulary"
	"needlebook/internal/gather"
	"needlebook/internal/record"
)

// editionFlag adds the flag that names a clinic's own edition.
func editionFlag(flags *flag.FlagSet) {
	flags.String("edition", "", "a clinic's own edition: a `file` or folder, as formulary publish writes one")
}

// editionOf is the edition that -edition names, else the one that is shipped.
func editionOf(flags *flag.FlagSet) (*formulary.Edition, error) {
	e, err := readEdition(flags.Lookup("edition").Value.String(), "")
	if errors.Is(err, errNoEdition) {
		return nil, usagef("-edition: %s", err)
	}
	return e, err
}

// clinicFlags adds the flags that say whose edition, adopted dilutions and stocked syringes count.
func clinicFlags(flags *flag.FlagSet) {
	editionFlag(flags)
	flags.String("dir", "", "`folder` of a replica, whose clinic's edition, dilutions and syringes count")
}

// clinicEditionOf is the edition that -edition names, else that of the clinic of the replica in -dir, else the one that is shipped. Of the replica's clinic come its
// adopted dilutions and stocked syringes, too.
func clinicEditionOf(ctx context.Context, e env, flags *flag.FlagSet) (*formulary.Edition, error) {
	edition, err := editionOf(flags)
	dir := set(flags, "dir")
	if err != nil || dir == nil {
		return edition, err
	}
	f := &replicaFlags{FlagSet: flags, dir: *dir}
	err = f.withDevice(ctx, e, func(d *device.Device) error {
		if set(flags, "edition") == nil {
			edition = d.Edition(edition)
		} else {
			edition = gather.At(d.Records(), edition, d.Identity().Clinic)
		}
		return nil
	})
	return edition, err
}

// fromRecords are the flags of a question about a record that a replica holds, in place of facts on standard input.
type fromRecords struct {
	flags *flag.FlagSet
	of    string // session or patient
	id    *string
	dir   *string
}

// recordFlags adds -session or -patient, and -dir.
func recordFlags(e env, flags *flag.FlagSet, of string) fromRecords {
	return fromRecords{flags, of, flags.String(of, "", "`id` of a "+of+" that the replica in -dir holds"),
		flags.String("dir", e.getenv(replicaVariable), "`folder` of the replica; without it $"+replicaVariable)}
}

// asked reports whether the question is about a record. Then the replica's folder must be known.
func (r fromRecords) asked() (bool, error) {
	switch {
	case *r.id == "" && set(r.flags, "dir") != nil:
		return false, usagef("%s: -%s is absent, want the id of a %s in the replica of -dir", r.flags.Name(), r.of, r.of)
	case *r.id == "":
		return false, nil
	case *r.dir == "":
		return false, usagef("%s: -dir is absent, want the folder of the replica", r.flags.Name())
	}
	if _, err := record.ParseID(*r.id); err != nil {
		return false, usagef("-%s: read %q, want a UUID in lower case", r.of, *r.id)
	}
	return true, nil
}

// open calls fn with the records of the replica and the edition that counts where the record names none: the one of -edition, else the clinic's own.
func (r fromRecords) open(ctx context.Context, e env, fn func(gather.Records, *formulary.Edition) error) error {
	edition, err := editionOf(r.flags)
	if err != nil {
		return err
	}
	f := &replicaFlags{FlagSet: r.flags, dir: *r.dir}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		if set(r.flags, "edition") == nil {
			edition = d.Edition(edition)
		}
		return fn(d.Records(), edition)
	})
}

// gathered turns what gathering says of the record itself into words of the command line.
func (r fromRecords) gathered(err error) error {
	if errors.Is(err, gather.ErrNone) {
		return fmt.Errorf("-%s: read %q, and the replica in %s holds no such %s", r.of, *r.id, *r.dir, r.of)
	}
	return err
}

// sessionFacts gathers a session, and the edition that it is judged by.
func (r fromRecords) sessionFacts(ctx context.Context, e env, at *timestamppb.Timestamp) (*formulary.Edition, *dosev1.CheckSessionRequest, error) {
	var used *formulary.Edition
	q := &dosev1.CheckSessionRequest{AsOf: at}
	err := r.open(ctx, e, func(records gather.Records, edition *formulary.Edition) error {
		facts, err := gather.Session(records, *r.id)
		if err != nil {
			return r.gathered(err)
		}
		used, q.Subject = edition, &dosev1.CheckSessionRequest_Facts{Facts: facts}
		if set(r.flags, "edition") != nil {
			return nil
		}
		builtin, err := formulary.Builtin()
		if err == nil {
			used = gather.ForSession(records, builtin, facts.GetSession())
		}
		return err
	})
	return used, q, err
}

// historyFacts gathers a patient's history, and the edition that counts.
func (r fromRecords) historyFacts(ctx context.Context, e env) (used *formulary.Edition, facts *dosev1.HistoryFacts, err error) {
	err = r.open(ctx, e, func(records gather.Records, edition *formulary.Edition) (err error) {
		used = edition
		facts, err = gather.History(records, *r.id)
		return r.gathered(err)
	})
	return used, facts, err
}

// dayFlag reads a day such as 2026-03-01; today by the machine's calendar when the flag is absent.
func dayFlag(e env, flags *flag.FlagSet, name string) (*recordv1.Date, error) {
	at := e.now()
	if text := set(flags, name); text != nil {
		var err error
		if at, err = time.Parse(time.DateOnly, *text); err != nil {
			return nil, usagef("-%s: read %q, want a day such as 2026-03-01", name, *text)
		}
	}
	return &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())}, nil
}

// optionalDay is dayFlag for a day that may be absent.
func optionalDay(e env, flags *flag.FlagSet, name string) (*recordv1.Date, error) {
	if set(flags, name) == nil {
		return nil, nil
	}
	return dayFlag(e, flags, name)
}
