package main

import (
	"flag"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/dose"
	"needlebook/internal/stock"
	"needlebook/internal/visit"
)

const vialHelp = `
Works on a replica, offline, as the person who is signed in on it. What it
writes is on the disk before it is printed, and merges at the next sync.
docs/day.md tells a whole day.`

func vialCommand() command {
	return command{name: "vial", short: "take in, mix, keep and account for vials on a replica", sub: []command{
		vialStep("receive", "[flags]", "take a vial in by its barcode or by hand", vialReceive),
		vialStep("mix", "VIAL-ID [flags]", "add diluent", vialMix),
		vialStep("checked", "VIAL-ID PREPARATION-ID [flags]", "record that you checked a preparation", vialChecked),
		vialStep("put-in", "VIAL-ID PLACE [flags]", "record where a vial is kept", vialPutIn),
		vialStep("thermometer", "PLACE [flags]", "record a reading for every vial of a place", vialThermometer),
		vialStep("send", "VIAL-ID --to CLINIC-ID [flags]", "send a vial to another clinic", vialSend),
		vialStep("arrive", "VIAL-ID [flags]", "receive a vial that another clinic sent", vialArrive),
		vialStep("waste", "VIAL-ID --reason TEXT [flags]", "record what was thrown away", vialWaste),
		vialStep("discard", "VIAL-ID --cause CAUSE [flags]", "end a vial, with what is left wasted", vialDiscard),
		vialStep("block", "VIAL-ID --reason TEXT [flags]", "say that a vial must not be used", vialBlock),
		vialStep("same", "VIAL-ID VIAL-ID --reason TEXT [flags]", "say that two records are of one vial, or that they are not", vialSame),
		vialStep("label", "VIAL-ID [flags]", "print the label of a vial or of a syringe", vialLabel),
		vialStep("show", "VIAL-ID [flags]", "say what is left, where it is kept and who had of it", vialShow),
		vialStep("stock", "[flags]", "say what a clinic has and what expires", vialStock),
	}}
}

func vialStep(name, usage, short string, prepare func(*flag.FlagSet) prepared) command {
	return dayCommand("vial", name, usage, short, vialHelp, prepare)
}

// named reads the vial that the first argument names, and who works there.
func (at *deed) named() (*chartv1.Vial, visit.Hand, error) {
	v, err := readFrom[*chartv1.Vial](at, optionsv1.RecordKind_RECORD_KIND_VIAL, "VIAL-ID", at.args[0])
	if err != nil {
		return nil, visit.Hand{}, err
	}
	h, err := at.hand(v.GetClinicId())
	return v, h, err
}

// thenVial writes one part of a vial and tells how it is.
func (at *deed) thenVial(part *chartv1.Vial, err error) error {
	if err != nil {
		return err
	}
	return at.done(func(p *page) { at.tellVial(p, part.GetId()) }, part)
}

func (at *deed) tellVial(p *page, id string) {
	v, err := readFrom[*chartv1.Vial](at, optionsv1.RecordKind_RECORD_KIND_VIAL, "VIAL-ID", id)
	if err != nil {
		return
	}
	p.wrapped("", "Vial "+id+": "+stock.Title(v))
	all, err := at.vials()
	if err != nil {
		return
	}
	left := stock.LeftIn(v, stock.SameAs(v, all)...)
	switch {
	case v.GetDiscarded() != nil:
		p.line("It is used up or gone.")
	case v.GetBlocked() != nil:
		p.wrapped("", "BLOCKED: "+v.GetBlocked().GetReason())
	case left.Known && left.Volume < 0:
		p.wrapped("", "More was drawn than was in it: a record is wrong.")
	case left.Known:
		p.line("Left: " + left.Volume.Display())
	case len(stock.Preparations(v)) > 0:
		p.line("Nobody knows how much is left.")
	}
	if place := stock.PlaceOf(v); place != "" {
		p.line("Kept in: " + place)
	}
}

func vialReceive(f *flag.FlagSet) prepared {
	product := f.String("product", "", "the `product` by its nonproprietary name")
	units := f.String("content-units", "", "what it holds, in `units`")
	code := f.String("presentation", "", "the formulary's `code` in place of the two")
	scan := f.String("barcode", "", "the pack's GS1 `text`, with <GS> as separator or in brackets")
	lot := f.String("lot", "", "the `lot` as printed, where there is no barcode")
	expires := f.String("expires", "", "the last `day` of use, where there is no barcode")
	serial := f.String("serial", "", "the `serial` number, where there is no barcode")
	short := f.String("short-number", "", "the `number` written on the vial; made up where the pack has no serial")
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	place := f.String("place", "", "where it is put")
	supplier := f.String("supplier", "", "from whom")
	note := f.String("delivery-note", "", "the `number` of the delivery note")
	cold := f.String("arrived-cold", "", "yes or no; not checked without it")
	count := f.Int("count", 1, "how many packs without a serial number")
	return prepared{run: func(at *deed) error {
		r := stock.Receipt{
			ClinicID: *clinic, Product: *product, PresentationCode: *code, Lot: *lot, Serial: *serial, ShortNumber: *short, Place: *place,
			Supplier: *supplier, DeliveryNote: *note,
		}
		if r.ClinicID == "" {
			r.ClinicID = at.d.Identity().Clinic
		}
		var err error
		if r.ArrivedCold, err = readYesNo(at.Name()+": --arrived-cold", *cold); err != nil {
			return err
		}
		if *units != "" {
			a, err := dose.ParseAmount("x", *units)
			if err != nil {
				return usagef("%s: --content-units: read %q, want units such as 100", at.Name(), *units)
			}
			r.ContentMilliunits = int32(a.Milliunits())
		}
		if *expires != "" {
			if r.Expires, err = at.readDay("--expires", *expires); err != nil {
				return err
			}
		}
		if *scan != "" {
			r.Scan = []byte(strings.ReplaceAll(*scan, "<GS>", "\x1d"))
		}
		return at.receive(r, *count)
	}}
}

func readYesNo(name, text string) (*bool, error) {
	switch text {
	case "":
		return nil, nil
	case "yes", "no":
		return proto.Bool(text == "yes"), nil
	}
	return nil, usagef("%s: read %q, want yes or no", name, text)
}

// receive takes in so many packs of one delivery.
func (at *deed) receive(r stock.Receipt, count int) error {
	if count < 1 || count > 100 || count > 1 && (r.Serial != "" || r.ShortNumber != "") {
		return usagef("%s: --count: read %d, want 1 to 100 packs without a serial and without a short number", at.Name(), count)
	}
	known, err := at.vials()
	if err != nil {
		return err
	}
	h, err := at.hand(r.ClinicID)
	if err != nil {
		return err
	}
	var parts []proto.Message
	var ids []string
	for range count {
		v, err := stock.Receive(h, at.book, known, r)
		if err != nil {
			return err
		}
		if v.GetLabelling().GetSerial() != "" && count > 1 {
			return usagef("%s: --count: the barcode has a serial number, so that each pack is scanned by itself", at.Name())
		}
		if lot := at.lotOf(v); lot != "" {
			v.Labelling.LotId = &lot
		}
		known, parts, ids = append(known, v), append(parts, v), append(ids, v.GetId())
	}
	return at.done(func(p *page) {
		for _, id := range ids {
			at.tellVial(p, id)
		}
	}, parts...)
}

// lotOf is the record of a vial's lot; empty where the replica holds none.
func (at *deed) lotOf(v *chartv1.Vial) string {
	lots, err := allFrom[*chartv1.Lot](at, optionsv1.RecordKind_RECORD_KIND_LOT)
	if err != nil {
		return ""
	}
	for _, l := range lots {
		if l.GetIdentity().GetProduct() == v.GetPresentation().GetProduct() && l.GetIdentity().GetNumber() == v.GetLabelling().GetLotNumber() {
			return l.GetId()
		}
	}
	return ""
}

func vialMix(f *flag.FlagSet) prepared {
	diluent := f.String("diluent", "sodium_chloride_0_9_preservative_free", "the `kind` of diluent")
	volume := f.String("diluent-ml", "", "how much of it, in `mL`")
	lot := f.String("diluent-lot", "", "the diluent's `lot`")
	expires := f.String("diluent-expires", "", "the diluent's last `day` of use")
	additive := f.String("additive", "", "what else was added, in `words`")
	advice := f.String("dilution", "", "the dilution of the formulary that was followed, by its `code`")
	checked := f.String("checked-by", "", "staff `id` of who checked")
	clarity := f.String("looks", "", "clear, cloudy or particles; not looked at without it")
	hours := f.Int("use-by-hours", 0, "use-by that the medical lead set, in `hours`; the formulary's rule without it")
	market := f.String("market", "", "whose labels count, such as US; every `market`'s without it")
	again := f.Bool("again", false, "it was mixed before, and diluent was added once more")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		m := stock.Mixing{Diluent: *diluent, Lot: *lot, Additive: *additive, AdviceCode: *advice, CheckedBy: *checked, UseByHours: *hours, Market: *market}
		added, err := at.readVolume("--diluent-ml", *volume)
		if err != nil {
			return err
		}
		if added != nil {
			m.Volume = *added
		}
		if *expires != "" {
			if m.Expires, err = at.readDay("--diluent-expires", *expires); err != nil {
				return err
			}
		}
		if *clarity != "" {
			n, ok := chartv1.ClarityFinding_value["CLARITY_FINDING_"+strings.ToUpper(*clarity)]
			if !ok {
				return usagef("%s: --looks: read %q, want clear, cloudy or particles", at.Name(), *clarity)
			}
			m.Clarity = chartv1.ClarityFinding(n)
		}
		return at.thenVial(stock.Mix(h, at.book, v, m, *again))
	}}
}

func vialChecked(*flag.FlagSet) prepared {
	return prepared{[]string{"VIAL-ID", "PREPARATION-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		return at.thenVial(stock.CheckPreparation(h, v, at.args[1]))
	}}
}

func vialPutIn(*flag.FlagSet) prepared {
	return prepared{[]string{"VIAL-ID", "PLACE"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		return at.thenVial(stock.PutIn(h, v, at.clinicOf(v.GetClinicId()), at.args[1]))
	}}
}

// readCelsius reads a temperature with at most three decimals, which may be below zero; nil for an empty text.
func readCelsius(name, text string) (*int32, error) {
	if text == "" {
		return nil, nil
	}
	whole, part, pointed := strings.Cut(strings.TrimPrefix(text, "-"), ".")
	n, err := strconv.ParseUint(whole+(part + "000")[:3], 10, 31)
	if err != nil || whole == "" || pointed && part == "" || len(part) > 3 || n > 273_150 {
		return nil, usagef("%s: read %q, want degrees Celsius such as 4.5", name, text)
	}
	milli := int32(n)
	if strings.HasPrefix(text, "-") {
		milli = -milli
	}
	return &milli, nil
}

func vialThermometer(f *flag.FlagSet) prepared {
	now := f.String("celsius", "", "the temperature, in degrees `Celsius`")
	lowest := f.String("lowest-celsius", "", "the lowest since the reading before")
	highest := f.String("highest-celsius", "", "the highest since the reading before")
	return prepared{[]string{"PLACE"}, func(at *deed) error {
		milli, err := readCelsius(at.Name()+": --celsius", *now)
		if err != nil {
			return err
		}
		if milli == nil {
			return usagef("%s: --celsius is absent", at.Name())
		}
		low, err := readCelsius(at.Name()+": --lowest-celsius", *lowest)
		if err != nil {
			return err
		}
		high, err := readCelsius(at.Name()+": --highest-celsius", *highest)
		if err != nil {
			return err
		}
		return at.readThermometer(*milli, low, high)
	}}
}

func (at *deed) readThermometer(milli int32, low, high *int32) error {
	vials, err := at.vials()
	if err != nil {
		return err
	}
	home := at.d.Identity().Clinic
	h, err := at.hand(home)
	if err != nil {
		return err
	}
	vials = slices.DeleteFunc(vials, func(v *chartv1.Vial) bool { return v.GetClinicId() != home })
	readings, err := stock.ReadThermometer(h, vials, at.args[0], milli, low, high)
	if err != nil {
		return err
	}
	var parts []proto.Message
	for _, r := range readings {
		parts = append(parts, r)
	}
	return at.done(func(p *page) {
		p.line(fmt.Sprintf("Recorded for %d vials.", len(readings)))
		for _, r := range readings {
			for range stock.Excursions(r, at.clinicOf(home)) {
				p.wrapped("", "OUT OF RANGE for vial "+r.GetId())
			}
		}
	}, parts...)
}

func vialSend(f *flag.FlagSet) prepared {
	to := f.String("to", "", "`id` of the clinic that it goes to")
	cold := f.String("kept-cold", "", "yes or no; not known without it")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		kept, err := readYesNo(at.Name()+": --kept-cold", *cold)
		if err != nil {
			return err
		}
		return at.thenVial(stock.Send(h, v, *to, kept))
	}}
}

func vialArrive(f *flag.FlagSet) prepared {
	clinic := f.String("clinic", "", "`id` of the clinic; the replica's without it")
	place := f.String("place", "", "where it is put")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, _, err := at.named()
		if err != nil {
			return err
		}
		if *clinic == "" {
			*clinic = at.d.Identity().Clinic
		}
		home := at.clinicOf(*clinic)
		if home == nil {
			home = &chartv1.Clinic{Id: *clinic}
		}
		h, err := at.hand(*clinic)
		if err != nil {
			return err
		}
		return at.thenVial(stock.Arrive(h, v, home, *place))
	}}
}

func vialWaste(f *flag.FlagSet) prepared {
	volume := f.String("ml", "", "how much, in `mL`; nobody knows without it")
	reason := f.String("reason", "", "why, in `words`")
	witness := f.String("witness", "", "staff `id` of who watched")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		some, err := at.readVolume("--ml", *volume)
		if err != nil {
			return err
		}
		return at.thenVial(stock.WasteSome(h, v, at.clinicOf(v.GetClinicId()), some, *reason, *witness))
	}}
}

func vialDiscard(f *flag.FlagSet) prepared {
	cause := f.String("cause", "", "empty, leftover, past_use_by, recalled, returned or lost")
	witness := f.String("witness", "", "staff `id` of who watched")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		all, err := at.vials()
		if err != nil {
			return err
		}
		how := chartv1.DiscardCause(chartv1.DiscardCause_value["DISCARD_CAUSE_"+strings.ToUpper(*cause)])
		return at.thenVial(stock.DiscardVial(h, v, at.clinicOf(v.GetClinicId()), how, *witness, stock.SameAs(v, all)...))
	}}
}

func vialBlock(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why, in `words`")
	return prepared{[]string{"VIAL-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		return at.thenVial(stock.BlockVial(h, v, *reason))
	}}
}

func vialSame(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why, in `words`")
	undo := f.Bool("undo", false, "they are two vials after all")
	return prepared{[]string{"VIAL-ID", "OTHER-VIAL-ID"}, func(at *deed) error {
		v, h, err := at.named()
		if err != nil {
			return err
		}
		if !*undo {
			other, err := at.vial(at.args[1])
			if err != nil {
				return err
			}
			return at.thenVial(stock.Link(h, v, other, *reason))
		}
		for _, l := range v.GetSameVials() {
			if l.GetUndone() == nil && l.GetClaim().GetVialId() == at.args[1] {
				return at.thenVial(stock.Unlink(h, v, l.GetId(), *reason))
			}
		}
		return usagef("%s: OTHER-VIAL-ID: read %q, want a record that the vial's own record links to", at.Name(), at.args[1])
	}}
}
