package main

import (
	"flag"
	"fmt"
	"io"

	"google.golang.org/protobuf/proto"

	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// mostRequestBytes bounds what is read from standard input. A history of ten years with many injections is about 1 MiB.
const mostRequestBytes = 16 << 20

// doseCommands are the commands of DoseService, which need no server.
func doseCommands() []command {
	return []command{
		{name: "prepare", usage: "[flags] [<request.json]", short: "reckon a vial with its diluent, or a ready liquid", long: prepareHelp, run: runPrepare},
		{name: "draw", usage: "[flags] [<request.json]", short: "reckon the syringes and plunger marks of a plan", long: drawHelp, run: runDraw},
		{name: "advise", usage: "[flags] [<request.json]", short: "rank dilutions and syringes by how exactly they measure a plan", long: adviseHelp, run: runAdvise},
		{name: "check", usage: "[flags] [<request.json]", short: "say what speaks against giving what a session plans", long: checkHelp, run: runCheck},
		{name: "history", usage: "[flags] [<request.json]", short: "sum what a patient had, and say when each interval is met", long: historyHelp, run: runHistory},
		{name: "compare", usage: "[flags] [<request.json]", short: "show what was published of two products' units", long: compareHelp, run: runCompare},
		{name: "asymmetry", usage: "[flags] [<request.json]", short: "set right and left side by side over time", long: asymmetryHelp, run: runAsymmetry},
	}
}

// readRequest reads the request as JSON from standard input.
func readRequest(e env, into proto.Message) error {
	data, err := io.ReadAll(io.LimitReader(e.stdin, mostRequestBytes+1))
	if err != nil {
		return fmt.Errorf("read standard input: %w", err)
	}
	if len(data) > mostRequestBytes {
		return usagef("standard input: read more than %d bytes, want one request", mostRequestBytes)
	}
	if len(data) == 0 {
		return usagef("standard input: read nothing, want the request as a JSON object, or flags instead; -h shows both")
	}
	return reckon.UnmarshalJSON(data, into)
}

// fromFlags reports whether the request comes from flags: when any but -json, -edition and -dir is given. Then --product must be among them.
func fromFlags(flags *flag.FlagSet) (bool, error) {
	given, product := false, false
	flags.Visit(func(f *flag.Flag) {
		given = given || f.Name != "json" && f.Name != "edition" && f.Name != "dir"
		product = product || f.Name == "product"
	})
	if given && !product {
		return false, usagef("%s: want -product with the other flags, or no flags and the request as JSON on standard input", flags.Name())
	}
	return given, nil
}

// set returns the text of a flag that was given, nil otherwise.
func set(flags *flag.FlagSet, name string) *string {
	var text *string
	flags.Visit(func(f *flag.Flag) {
		if f.Name == name {
			value := f.Value.String()
			text = &value
		}
	})
	return text
}

// vialFlags are the flags that say what is in a vial and which tables count; they are the same for every dose command.
func vialFlags(flags *flag.FlagSet) {
	flags.String("product", "", "the product's nonproprietary `name`")
	flags.String("content", "", "what the vial holds, in `units`")
	flags.String("diluent", "", "the diluent added, in `mL`")
	flags.String("liquid", "", "the volume of a ready liquid, in `mL`, in place of -diluent")
	flags.String("market", "", "whose labels count, such as US or EU; every `market`'s when absent")
	flags.Bool("json", false, "print the response as JSON")
	clinicFlags(flags)
}

func vialOf(flags *flag.FlagSet) *dosev1.VialContent {
	vial := &dosev1.VialContent{DiluentMl: set(flags, "diluent"), LiquidMl: set(flags, "liquid")}
	if content := set(flags, "content"); content != nil {
		vial.ContentUnits = *content
	}
	return vial
}

func choiceOf(flags *flag.FlagSet) *dosev1.FormularyChoice {
	market := set(flags, "market")
	if market == nil {
		return nil
	}
	return &dosev1.FormularyChoice{Market: *market}
}

func wantsJSON(flags *flag.FlagSet) bool { return flags.Lookup("json").Value.String() == "true" }

// printJSON prints a response for programs.
func printJSON(w io.Writer, m proto.Message) error {
	data, err := reckon.MarshalJSON(m)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "%s\n", data)
	return err
}

// holdAmong returns errHold when a finding is a hold, so that scripts see it in the exit code.
func holdAmong(findings []*dosev1.Finding) error {
	for _, f := range findings {
		if f.GetLevel() == formularyv1.Level_LEVEL_HOLD {
			return errHold
		}
	}
	return nil
}
