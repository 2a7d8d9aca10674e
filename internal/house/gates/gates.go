package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"needlebook/internal/house"
)

// govulncheck is not in internal/tools, because it is fetched only where its database can be reached too.
const govulncheck = "golang.org/x/vuln/cmd/govulncheck@v1.9.0"

// all lists the gates in the order they run: the cheap ones first.
func all(vuln bool) []gate {
	gates := []gate{
		{"imports", func(c *checkout) error { return found(house.CheckImports(c.root, house.Rules())) }},
		{"architecture", func(c *checkout) error { return found(house.CheckArchitecture(c.root, house.Rules())) }},
		{"dependencies", func(c *checkout) error { return found(house.CheckDependencies(c.root)) }},
		{"words", func(c *checkout) error { return found(house.CheckWords(c.root)) }},
		{"exact", func(c *checkout) error { return found(house.CheckExact(c.root)) }},
		{"sizes", sizes},
		{"gofmt", formatted},
		{"mod-verify", func(c *checkout) error { return c.do(nil, "go", "mod", "verify") }},
		{"mod-tidy", func(c *checkout) error { return c.do(nil, "go", "mod", "tidy", "-diff") }},
		{"vet", func(c *checkout) error { return c.do(nil, "go", "vet", "./...") }},
		{"vet-wasm", func(c *checkout) error { return c.pure("vet") }},
		{"tools", func(c *checkout) error {
			return c.do(nil, "go", "build", "-C", "internal/tools", "-o", c.bin()+"/", "tool")
		}},
		{"staticcheck", func(c *checkout) error { return c.do(nil, c.bin("staticcheck"), "./...") }},
		{"buf-lint", func(c *checkout) error { return c.do(nil, c.bin("buf"), "lint") }},
		{"buf-format", func(c *checkout) error { return c.do(nil, c.bin("buf"), "format", "-d", "--exit-code") }},
		{"buf-breaking", breaking},
		{"generated", generated},
		{"test-wasm", testWasm},
		{"tablet-messages", func(c *checkout) error { return c.do(nil, "go", "run", "./internal/house/messages", "-check") }},
		{"tablet-types", tabletTypes},
		{"tablet", tabletBuilt},
	}
	if vuln {
		return append(gates, gate{"vuln", func(c *checkout) error { return c.do(nil, "go", "run", govulncheck, "./...") }})
	}
	return append(gates, gate{"vuln", func(*checkout) error {
		return skip("NOT CHECKED for known vulnerabilities: give -vuln where https://vuln.go.dev or a copy named by GOVULNDB can be reached")
	}})
}

// found makes one error of a check's faults.
func found(faults []house.Fault, err error) error {
	if err != nil || len(faults) == 0 {
		return err
	}
	lines := make([]string, len(faults))
	for i, fault := range faults {
		lines[i] = fault.String()
	}
	return fmt.Errorf("%s", strings.Join(lines, "\n"))
}

func sizes(c *checkout) error {
	large, over, err := house.CheckSizes(c.root)
	for _, fault := range large {
		fmt.Fprintln(c.out, "     look at", fault)
	}
	return found(over, err)
}

// formatted fails for Go files that gofmt would change. gofmt itself ends with 0 when it lists some.
func formatted(c *checkout) error {
	files, err := house.Files(c.root)
	if err != nil {
		return err
	}
	args := []string{"-l"}
	for _, file := range files {
		if strings.HasSuffix(file, ".go") {
			args = append(args, file)
		}
	}
	out, err := c.output(nil, "gofmt", args...)
	if err == nil && out != "" {
		err = fmt.Errorf("gofmt would change:\n%s", out)
	}
	return err
}

// testWasm runs the short tests of the pure packages as the tablet runs them: compiled to js/wasm.
func testWasm(c *checkout) error {
	if _, err := exec.LookPath("node"); err != nil {
		return missing("no node on this machine: the core was NOT tested as WebAssembly")
	}
	goroot, err := c.output(nil, "go", "env", "GOROOT")
	if err != nil {
		return err
	}
	wrapper := filepath.Join(strings.TrimSpace(goroot), "lib", "wasm", "go_js_wasm_exec")
	return c.pure("test", "-short", "-exec="+wrapper)
}

// tabletTypes lets the TypeScript compiler look at the screens.
func tabletTypes(c *checkout) error {
	if err := c.nodeModules(); err != nil {
		return err
	}
	return c.do(nil, "npm", "run", "--silent", "--prefix", filepath.Join(c.root, "internal", "tablet"), "check")
}

// tabletBuilt builds the tablet client, and holds what is committed against it: all of it in CI, elsewhere the screens alone. Every change of the core makes
// another WebAssembly, so only what is to be released need be built anew (DEVELOPERS.md).
func tabletBuilt(c *checkout) error {
	if err := c.nodeModules(); err != nil {
		return err
	}
	if c.ci {
		return c.do(nil, "go", "run", "./internal/house/tablet", "-check")
	}
	return c.do(nil, "go", "run", "./internal/house/tablet", "-check", "-screens")
}

// nodeModules brings the few packages that the screens are built with, in the versions of the lock file.
func (c *checkout) nodeModules() error {
	at := filepath.Join(c.root, "internal", "tablet")
	if _, err := os.Stat(filepath.Join(at, "node_modules", "preact")); err == nil {
		return nil
	}
	if _, err := exec.LookPath("npm"); err != nil {
		return missing("no npm on this machine: the screens of the tablet were NOT built")
	}
	return c.do(nil, "npm", "ci", "--silent", "--no-audit", "--no-fund", "--prefix", at)
}

// pure runs a go command on the pure packages that exist, for js/wasm.
func (c *checkout) pure(args ...string) error {
	var packages []string
	for _, dir := range house.PurePackages() {
		if _, err := os.Stat(filepath.Join(c.root, dir)); err == nil {
			packages = append(packages, "./"+dir)
		}
	}
	if len(packages) == 0 {
		return skip("no pure package exists")
	}
	out, err := c.output([]string{"GOOS=js", "GOARCH=wasm"}, "go", append(args, packages...)...)
	if err == nil && out != "" {
		fmt.Fprintln(c.out, indent(out))
	}
	return err
}

// bin is where the pinned tools are built, or the path of one of them.
func (c *checkout) bin(tool ...string) string {
	return filepath.Join(append([]string{c.root, ".bin"}, tool...)...)
}

// do runs a command at the root; its error holds what it printed.
func (c *checkout) do(env []string, name string, args ...string) error {
	_, err := c.output(env, name, args...)
	return err
}

// output is do that also returns what the command printed when it succeeded.
func (c *checkout) output(env []string, name string, args ...string) (string, error) {
	command := exec.Command(name, args...)
	command.Dir = c.root
	command.Env = append(os.Environ(), env...)
	out, err := command.CombinedOutput()
	if err != nil {
		line := filepath.Base(name) + " " + strings.Join(args, " ")
		return "", fmt.Errorf("%s: %w\n%s", line, err, out)
	}
	return string(out), nil
}
