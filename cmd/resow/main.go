// Command resow tracks washable grow mats: which one may be sown on, what each
// needs next, and what happened to it.
//
// A newcomer's way through: app.go holds what every command shares, exit.go
// turns errors into exit codes and hints, and each group of commands has a
// file of its own name.
package main

import (
	"crypto/rand"
	"os"
	"time"
	_ "time/tzdata" // farms without a zone database still have their zone
)

func main() {
	os.Exit(run(os.Args[1:], world{
		in: os.Stdin, out: os.Stdout, err: os.Stderr,
		env: os.Getenv, now: time.Now, random: rand.Reader, waiter: newWaiter,
	}))
}
