// Command resow tracks washable grow mats: which one may be sown on, what each
// needs next, and what happened to it.
//
// A newcomer's way through: app.go holds what every command shares, step.go makes
// the command of a kind of step, record.go puts steps into the ledger and prints
// what became of them, and exit.go turns errors into exit codes and hints. A
// command with code of its own has a file of its own name.
package main

import (
	"crypto/rand"
	"os"
	"strings"
	"time"
	_ "time/tzdata" // farms without a zone database still have their zone
)

func main() {
	os.Exit(run(os.Args[1:], world{
		self: self(os.Args[0]),
		in:   os.Stdin, out: os.Stdout, err: os.Stderr,
		env: os.Getenv, now: time.Now, random: rand.Reader, waiter: newWaiter,
	}))
}

// self is how the person started the program: `go run` builds it in a
// temporary folder, and nobody can type that path again.
func self(arg0 string) string {
	if strings.Contains(arg0, "go-build") {
		return "go run ./cmd/resow"
	}
	return "resow"
}
