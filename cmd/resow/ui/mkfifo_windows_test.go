package ui

import "errors"

func mkfifo(string) error { return errors.New("no named pipes in folders there") }
