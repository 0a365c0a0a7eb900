package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// readBy gives a command a flag that is read as it is typed. An empty one is not given.
func readBy(c *cobra.Command, name, help string, read func(text string) error) {
	c.Flags().Var(&readFlag{read: read}, name, help)
}

// readAs gives a command a flag that is one amount; what names it in a message.
func readAs[T any](c *cobra.Command, to *T, name, what string, read func(what, text string) (T, error), help string) {
	readBy(c, name, help, func(text string) (err error) {
		*to, err = read(what, text)
		return err
	})
}

type readFlag struct {
	text string
	read func(text string) error
}

func (f *readFlag) String() string { return f.text }

func (f *readFlag) Type() string { return "string" }

func (f *readFlag) Set(text string) error {
	if text == "" && f.text == "" {
		return nil
	}
	f.text = text
	if err := f.read(text); err != nil {
		return &readError{err}
	}
	return nil
}

// once refuses the second value of a flag that holds one: nothing is lost without a word.
type once struct {
	pflag.Value
	name string
	set  bool
}

func (o *once) Set(text string) error {
	if o.set && text != o.String() {
		return &readError{ui.Wrongf("--%s is given twice, as %q and as %q: it takes one value", o.name, o.String(), text)}
	}
	o.set = true
	return o.Value.Set(text)
}

// takesOnce makes the flags of a command that hold one value refuse a second one.
func takesOnce(c *cobra.Command) {
	c.LocalFlags().VisitAll(func(f *pflag.Flag) {
		if _, many := f.Value.(pflag.SliceValue); !many && f.Value.Type() != "bool" {
			f.Value = &once{Value: f.Value, name: f.Name}
		}
	})
}

// readError is what the command has to say about a flag, not the library.
type readError struct{ err error }

func (e *readError) Error() string { return e.err.Error() }

func (e *readError) Unwrap() error { return e.err }

// usually gives a flag a value that stands where nothing else is said.
func usually(c *cobra.Command, name, value string) {
	flag := c.Flag(name)
	must(flag.Value.Set(value))
	flag.DefValue = value
}

// required marks flags that a command can't do without.
func required(c *cobra.Command, names ...string) {
	for _, name := range names {
		must(c.MarkFlagRequired(name))
	}
}

// oneOf proposes the values of a flag.
func oneOf(c *cobra.Command, name string, words ...string) {
	must(c.RegisterFlagCompletionFunc(name, fixedWords(words...)))
}

func size(what, text string) (medium.Size, error) {
	length, width, err := amount.Size(what, text)
	return medium.Size{LengthMM: length, WidthMM: width}, err
}

// seconds reads a time that is kept in seconds.
func seconds[N int | float64](what, text string) (N, error) {
	d, err := amount.Span(what, text)
	return N(d.Seconds()), err
}
