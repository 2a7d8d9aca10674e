// Command messages writes the types of the schema for the tablet's screens, in TypeScript, with the names that the JSON of needlebook has:
//
//	go run ./internal/house/messages            writes internal/tablet/src/messages.ts
//	go run ./internal/house/messages -check     writes nothing, and fails when the file is not what it would write
//
// It reads the schema through .bin/buf, which the gate "tools" builds.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/descriptorpb"
)

const output = "internal/tablet/src/messages.ts"

func main() {
	if err := run(os.Args[1:], os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "messages:", err)
		os.Exit(1)
	}
}

func run(args []string, errs io.Writer) error {
	flags := flag.NewFlagSet("messages", flag.ContinueOnError)
	flags.SetOutput(errs)
	check := flags.Bool("check", false, "write nothing; fail when the file is stale")
	root := flags.String("root", ".", "the root of the module")
	if err := flags.Parse(args); err != nil {
		return err
	}
	files, err := readSchema(*root)
	if err != nil {
		return err
	}
	text, err := write(files)
	if err != nil {
		return err
	}
	path := filepath.Join(*root, output)
	if !*check {
		return os.WriteFile(path, text, 0o644)
	}
	have, err := os.ReadFile(path)
	if err == nil && !bytes.Equal(have, text) {
		err = fmt.Errorf("%s is not what the schema gives: go run ./internal/house/messages", output)
	}
	return err
}

// readSchema is the schema's files with their comments, in the order that buf gives, which is by name and imports first.
func readSchema(root string) ([]*descriptorpb.FileDescriptorProto, error) {
	command := exec.Command(filepath.Join(".bin", "buf"), "build", "--as-file-descriptor-set", "-o", "-")
	command.Dir = root
	var errs bytes.Buffer
	command.Stderr = &errs
	out, err := command.Output()
	if err != nil {
		return nil, fmt.Errorf("%s build: %w\n%s", command.Path, err, errs.Bytes())
	}
	set := &descriptorpb.FileDescriptorSet{}
	if err := proto.Unmarshal(out, set); err != nil {
		return nil, fmt.Errorf("read the schema: %w", err)
	}
	return set.GetFile(), nil
}
