package main

import (
	"context"
	"flag"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

const prepareHelp = `
Reads a PrepareRequest as JSON from standard input, or builds one from flags.
Answers strength, units in one graduation, whether a label states this dilution,
what is printed beside what is exact, and how long it may be used.

  needlebook dose prepare -product onabotulinumtoxinA -content 100 -diluent 2.5
  needlebook dose prepare -product relabotulinumtoxinA -content 150 -liquid 1.5
  needlebook dose prepare -json <<'EOF'
  {"product": "abobotulinumtoxinA",
   "vial": {"content_units": "300", "diluent_ml": "2.5"}}
  EOF

Exit code 3 says that the answer holds a hold.`

func runPrepare(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose prepare")
	vialFlags(flags)
	flags.String("graduation", "", "the smallest step of the syringe, in `mL`; 0.01 when absent")
	flags.String("mixed-at", "", "when it is mixed: now, or a `time` such as 2026-03-01T09:30:00Z")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	request, err := prepareRequest(e, flags)
	if err != nil {
		return err
	}
	edition, err := clinicEditionOf(ctx, e, flags)
	if err != nil {
		return err
	}
	response, err := reckon.Prepare(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		err = printJSON(e.stdout, response)
	} else {
		err = printPrepared(e.stdout, request, response)
	}
	if err != nil {
		return err
	}
	return holdAmong(response.GetFindings())
}

func prepareRequest(e env, flags *flag.FlagSet) (*dosev1.PrepareRequest, error) {
	request := &dosev1.PrepareRequest{}
	given, err := fromFlags(flags)
	if err != nil {
		return nil, err
	}
	if !given {
		return request, readRequest(e, request)
	}
	request.Product, request.Vial, request.Formulary = *set(flags, "product"), vialOf(flags), choiceOf(flags)
	request.GraduationMl = set(flags, "graduation")
	if at := set(flags, "mixed-at"); at != nil {
		mixed, err := timeOf(e, *at)
		if err != nil {
			return nil, err
		}
		request.MixedAt = timestamppb.New(mixed)
	}
	return request, nil
}

func timeOf(e env, text string) (time.Time, error) {
	if text == "now" {
		return e.now(), nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return time.Time{}, usagef("-mixed-at: read %q, want now or a time such as 2026-03-01T09:30:00Z", text)
	}
	return at, nil
}
