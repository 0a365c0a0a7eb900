//go:build unix

package store

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// The test binary runs itself as a second process: RESOW_STORE_CHILD names what
// that one does.
func TestMain(m *testing.M) {
	role := os.Getenv("RESOW_STORE_CHILD")
	if role == "" {
		os.Exit(m.Run())
	}
	if err := child(role, os.Getenv("RESOW_STORE_FILE")); err != nil {
		fmt.Println("error", fmt.Sprintf("%T", err), err)
		os.Exit(1)
	}
}

// batch is what the child records in one go.
const batch = 200

func child(role, path string) error {
	switch role {
	case "whole":
		return everyWay(path)
	case "import":
		return madeAgain(path, func(o Options) error {
			text, err := os.Open(path + ".jsonl")
			if err != nil {
				return err
			}
			defer text.Close()
			_, _, err = FromLines(path, text, o)
			return err
		})
	case "restore":
		return madeAgain(path, func(o Options) error {
			_, _, err := Restore(path+".backup", path, true, "ab", o)
			return err
		})
	}
	s, err := Open(path, Options{})
	if err != nil {
		return err
	}
	switch role {
	case "hold":
		fmt.Println("open")
		_, err := io.Copy(io.Discard, os.Stdin) // until the parent lets go
		return err
	case "record":
		n := 0
		if err := s.Conditions(func(medium.Condition) error { n++; return nil }); err != nil {
			return err
		}
		for {
			fmt.Println("begin", n)
			if err := recordBatch(s, n); err != nil {
				return err
			}
			n += batch
			fmt.Println("done", n)
		}
	case "steps": // for strace to count what a step costs
		for n := range 20 {
			if _, err := s.Record("", []medium.Step{step(code(7*n), &medium.Hold{Reason: "doubt"})}); err != nil {
				return err
			}
		}
		return s.Close()
	case "phones": // the same for the steps of eight phones
		for range 20 {
			var requests []Request
			for n := range 8 {
				requests = append(requests, Request{Token: fmt.Sprint(time.Now().UnixNano(), n), Steps: []medium.Step{step(code(7*n), &medium.Hold{Reason: "doubt"})}})
			}
			if _, err := s.RecordEach(requests); err != nil {
				return err
			}
		}
		return s.Close()
	case "write": // whole batches, each with an open and a close as of a command
		if err := s.Close(); err != nil {
			return err
		}
		for n := 0; ; n++ {
			s, err := Open(path, Options{})
			if err != nil {
				return err
			}
			hold := step(code(n%batch), &medium.Hold{Reason: "doubt"})
			if _, err := s.Record("", []medium.Step{hold, hold, hold}); err != nil {
				return err
			}
			if err := s.Close(); err != nil {
				return err
			}
			if n == 0 {
				fmt.Println("writing")
			}
		}
	case "backup":
		if err := s.Close(); err != nil {
			return err
		}
		for n := 0; ; n++ {
			fmt.Println("begin")
			o := Options{Now: func() time.Time {
				return start.Add(time.Duration(os.Getpid())*time.Hour + time.Duration(n)*time.Second)
			}} // names of its own
			b, err := BackUp(path, Backups{Dir: filepath.Join(filepath.Dir(path), "backups"), Keep: 2}, o)
			if err != nil {
				return err
			}
			fmt.Println("done", filepath.Base(b.Path))
		}
	case "full":
		signal.Ignore(syscall.SIGXFSZ)
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		room := uint64(info.Size())
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: room, Max: room}); err != nil {
			return err
		}
		for n := 0; ; n += batch {
			if err := recordBatch(s, n); err != nil {
				r, verr := s.Verify(nil, nil)
				fmt.Println("done", n, r.OK, verr)
				return err
			}
		}
	}
	return fmt.Errorf("no role %q", role)
}

// madeAgain does something once, with names of its own.
func madeAgain(path string, do func(o Options) error) error {
	fmt.Println("begin")
	if err := do(Options{Now: func() time.Time { return start.Add(time.Duration(os.Getpid()) * time.Hour) }}); err != nil {
		return err
	}
	fmt.Println("done")
	time.Sleep(time.Minute) // until it is killed
	return nil
}

// everyWay makes files in each way that there is, beside path.
func everyWay(path string) error {
	beside := func(name string) string { return filepath.Join(filepath.Dir(path), name) }
	for _, name := range []string{"quick", "again", "restored"} { // a folder for each, whose names must last
		if err := os.Mkdir(beside(name), 0o700); err != nil {
			return err
		}
	}
	at := start
	o := Options{Now: func() time.Time { at = at.Add(time.Hour); return at }}
	quick := o
	quick.NoSync = true
	for path, o := range map[string]Options{path: o, beside("quick/farm.resow"): quick} {
		s, err := Create(path, settings, "ab", o)
		if err != nil {
			return err
		}
		if _, err := s.Record("", adds(0, 20)); err != nil {
			return err
		}
		if err := s.Close(); err != nil {
			return err
		}
	}
	made, err := BackUp(path, Backups{Dir: beside("backups")}, o)
	if err != nil {
		return err
	}
	s, err := Open(path, o)
	if err != nil {
		return err
	}
	var text strings.Builder
	if _, err := s.Lines(&text, nil); err != nil {
		return err
	}
	if _, err := s.Record("", []medium.Step{step(code(1), &medium.Hold{Reason: "lost by the restore"})}); err != nil {
		return err
	}
	if err := s.Close(); err != nil {
		return err
	}
	if _, _, err := FromLines(beside("again/farm.resow"), strings.NewReader(text.String()), o); err != nil {
		return err
	}
	if _, _, err := Restore(made.Path, beside("restored/farm.resow"), false, "ab", o); err != nil {
		return err
	}
	if _, _, err := Restore(made.Path, path, true, "ab", o); err != nil {
		return err
	}
	return nil
}

// No file has its name before the disk has all of it, and the name is on the disk
// before the call that gave it ends; nothing that was written is left to chance.
// strace watches from outside.
func TestNothingHasItsNameTooEarly(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil && deep() {
		t.Fatal("strace is needed for this check: ", err)
	}
	if err != nil {
		t.Skip("strace is not installed")
	}
	dir := t.TempDir() // on a disk
	log := filepath.Join(t.TempDir(), "log")
	cmd := childProcess(t, "whole", filepath.Join(dir, "farm.resow"))
	cmd.Args = append([]string{strace, "-f", "-q", "-y", "-e", "trace=pwrite64,write,ftruncate,fsync,fdatasync,link,linkat,rename,renameat,renameat2", "-o", log}, cmd.Args[0])
	cmd.Path = strace
	out, err := cmd.Output()
	if err != nil && !deep() && !strings.Contains(string(out), "error") {
		t.Skipf("strace may not look at a process here: %v %s", err, out)
	}
	require.NoError(t, err, "%s", out)
	text, err := os.ReadFile(log)
	require.NoError(t, err)
	wrote := regexp.MustCompile(`(?:pwrite64|write|ftruncate)\(\d+<([^>]+)>`)
	synced := regexp.MustCompile(`f(?:data)?sync\(\d+<([^>]+)>`)
	named := regexp.MustCompile(`(?:link|linkat|rename|renameat|renameat2)\((?:AT_FDCWD<[^>]*>, )?"([^"]+)", (?:AT_FDCWD<[^>]*>, )?"([^"]+)"`)
	dirty, dirs, names := map[string]bool{}, map[string]bool{}, 0
	for line := range strings.Lines(string(text)) {
		if m := wrote.FindStringSubmatch(line); m != nil && strings.HasPrefix(m[1], dir) {
			dirty[m[1]] = true
		}
		if m := synced.FindStringSubmatch(line); m != nil {
			delete(dirty, m[1])
			delete(dirs, m[1])
		}
		if m := named.FindStringSubmatch(line); m != nil {
			quick := filepath.Base(filepath.Dir(m[2])) == "quick" // on the disk only when it is closed
			require.False(t, dirty[m[1]] && !quick, "%s is not on the disk: %s", m[1], line)
			dirs[filepath.Dir(m[2])] = true
			names++
		}
	}
	require.GreaterOrEqual(t, names, 7, "%s", text)
	require.Empty(t, dirs, "names that are not on the disk")
	for name := range dirty {
		require.NoFileExists(t, name, "it is not on the disk")
	}
}

// Killed at any moment of an import or a restore: the ledger at the path is whole,
// the old one or the new one, and the next run clears away what was left.
func TestKilledImportAndRestore(t *testing.T) {
	kills := 10
	if testing.Short() {
		kills = 3
	}
	if deep() {
		kills = 100
	}
	path, c := closedLedger(t, 300)
	dir := filepath.Dir(path)
	made, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	require.NoError(t, os.Rename(made.Path, path+".backup"))
	withStore(t, path, c, func(s *Store) {
		require.NoError(t, os.WriteFile(path+".jsonl", []byte(lines(t, s)), 0o600))
		record(t, s, step(code(1), &medium.Hold{Reason: "doubt"}))
	})
	present, err := os.ReadFile(path)
	require.NoError(t, err)
	random := rand.New(rand.NewChaCha8([32]byte{5}))
	for _, role := range []string{"import", "restore"} {
		left, killed := 0, 0
		for i := range kills {
			require.NoError(t, os.Remove(path))
			if role == "restore" {
				require.NoError(t, os.WriteFile(path, present, 0o600))
			}
			killedChild(t, role, path, time.Duration(random.IntN(80000))*time.Microsecond)
			left += len(unfinishedIn(t, dir))
			if _, err := os.Stat(path); err == nil {
				require.NoError(t, verifyFile(path, anchorAt(t, path, c), c.options()))
			}
			killed++
			c.now = start.Add(time.Duration(1000000+i) * time.Hour)
			if role == "import" {
				text, err := os.Open(path + ".jsonl")
				require.NoError(t, err)
				_, _, err = FromLines(path, text, c.options())
				require.NoError(t, err)
				require.NoError(t, text.Close())
				require.NoError(t, os.Rename(path, path+".made"))
				_, _, err = FromLines(path, strings.NewReader(linesAt(t, path+".made", c)), c.options())
				require.NoError(t, err)
			} else {
				_, _, err := Restore(path+".backup", path, true, "ab", c.options())
				require.NoError(t, err)
			}
			require.Empty(t, unfinishedIn(t, dir))
		}
		t.Logf("%s: %d kills left %d unfinished files", role, killed, left)
		if !testing.Short() {
			require.NotZero(t, left)
		}
	}
	// killed between naming the present file aside and replacing it
	twin := path + replaced + "20260302T070000Z"
	require.NoError(t, os.Link(path, twin))
	aside, _, err := Restore(path+".backup", path, true, "ab", c.options())
	require.NoError(t, err)
	require.NoFileExists(t, twin)
	require.FileExists(t, aside)
}

func linesAt(t testing.TB, path string, c *clock) (text string) {
	withStore(t, path, c, func(s *Store) { text = lines(t, s) })
	return text
}

func unfinishedIn(t testing.TB, dir string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			names = append(names, e.Name())
		}
	}
	return names
}

// recordBatch adds mats in one commit: as one request, or as several of which
// some are refused when their steps are half written.
func recordBatch(s *Store, n int) error {
	if n/batch%2 == 0 {
		_, err := s.Record(fmt.Sprint("batch ", n), adds(n, batch))
		return err
	}
	var requests []Request
	for i := n; i < n+batch; i += batch / 4 {
		refused := append(adds(i, batch/4), adds(0, 1)...) // the last mat is there already
		requests = append(requests, Request{Token: fmt.Sprint("refused ", i), Steps: refused},
			Request{Token: fmt.Sprint("part ", i), Steps: adds(i, batch/4)})
	}
	answers, err := s.RecordEach(requests)
	for i, a := range answers {
		if (a.Err != nil) != (i%2 == 0) {
			return fmt.Errorf("request %d of %d: %w", i, n, a.Err)
		}
	}
	return err
}

func childProcess(t *testing.T, role, path string) *exec.Cmd {
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), "RESOW_STORE_CHILD="+role, "RESOW_STORE_FILE="+path)
	cmd.Stderr = os.Stderr
	return cmd
}

// Killed at any moment, the store holds whole batches only, and every batch
// that was reported as done.
func TestKilledProcess(t *testing.T) {
	kills := 55
	if testing.Short() {
		kills = 6
	}
	if deep() {
		kills = 300
	}
	path := filepath.Join(folder(t), "farm.resow")
	random := rand.New(rand.NewChaCha8([32]byte{3}))
	inside, reported, whole := 0, 0, 0
	for i := range kills {
		if i%20 == 0 { // keep it small, so that a round is short
			os.Remove(path)
			reported = 0
			s, err := Create(path, settings, "ab", Options{})
			require.NoError(t, err)
			require.NoError(t, s.Close())
		}
		last := ""
		for _, last = range killedChild(t, "record", path, time.Duration(random.IntN(40000))*time.Microsecond) {
			if n, ok := strings.CutPrefix(last, "done "); ok {
				reported, _ = strconv.Atoi(n)
				whole++
			}
		}
		if strings.HasPrefix(last, "begin") {
			inside++
		}
		s, err := Open(path, Options{})
		require.NoError(t, err)
		n := 0
		require.NoError(t, s.Conditions(func(medium.Condition) error { n++; return nil }))
		verifyClean(t, s)
		require.NoError(t, s.Close())
		require.Zero(t, n%batch, "a part of a batch")
		require.GreaterOrEqual(t, n, reported, "what was reported as done is there")
		require.LessOrEqual(t, n, reported+batch)
		reported = n
	}
	t.Logf("%d kills, %d of them inside a Record; %d batches recorded", kills, inside, whole)
	if !testing.Short() { // a few kills may all come too early, or all between two batches
		require.NotZero(t, inside)
		require.NotZero(t, whole)
	}
}

// killedChild starts a child, kills it a while after its first line, and gives all
// its lines.
func killedChild(t *testing.T, role, path string, after time.Duration) []string {
	cmd := childProcess(t, role, path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan())
	go func() {
		time.Sleep(after)
		cmd.Process.Signal(syscall.SIGKILL)
	}()
	said := []string{lines.Text()}
	for lines.Scan() {
		said = append(said, lines.Text())
	}
	require.Error(t, cmd.Wait(), "it was killed: %s", said[len(said)-1])
	return said
}

// Backups that are taken while two other processes record: each has a state that
// the ledger had between two commands, and all of it agrees.
func TestBackupsBesideProcesses(t *testing.T) {
	rounds := 8
	if testing.Short() {
		rounds = 2
	}
	if deep() {
		rounds = 30
	}
	path := filepath.Join(folder(t), "farm.resow")
	s, err := Create(path, settings, "ab", Options{})
	require.NoError(t, err)
	record(t, s, adds(0, 10*batch)...)
	require.NoError(t, s.Close())
	for range 2 {
		cmd := childProcess(t, "write", path)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		t.Cleanup(func() {
			_ = cmd.Process.Kill()
			_ = cmd.Wait()
		})
		require.True(t, bufio.NewScanner(out).Scan())
	}
	dir := folder(t)
	var made []Backup
	for i := range rounds {
		b, err := BackUp(path, Backups{Dir: dir}, Options{Now: func() time.Time { return start.Add(time.Duration(i) * time.Hour) }})
		require.NoError(t, err)
		require.NoError(t, verifyFile(b.Path, b.Anchor, Options{}))
		require.NoError(t, os.Remove(b.Path)) // the ledger grows all the while: all copies of it would fill the memory
		made = append(made, b)
	}
	s, err = Open(path, Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	had := map[Anchor]bool{}
	require.NoError(t, inOrder(s, stepAt, func(r logged[medium.Step]) error {
		if r.at > 10*batch && (r.at-1-10*batch)%3 == 0 { // behind the settings, the mats, and whole commands
			had[anchorOf(r.at, r.head)] = true
		}
		return nil
	}))
	states := map[Anchor]bool{}
	for _, b := range made {
		require.True(t, had[b.Anchor], "%s", b.Anchor)
		states[b.Anchor] = true
	}
	require.Greater(t, len(states), 1, "they recorded meanwhile")
}

// Killed at any moment of a backup: what has the name of one is good, and what
// the run has left is cleared away by the next.
func TestKilledBackup(t *testing.T) {
	kills := 25
	if testing.Short() {
		kills = 5
	}
	if deep() {
		kills = 200
	}
	path, c := closedLedger(t, 300)
	dir := filepath.Join(filepath.Dir(path), "backups")
	random := rand.New(rand.NewChaCha8([32]byte{4}))
	left, whole := 0, 0
	for range kills {
		said := killedChild(t, "backup", path, time.Duration(random.IntN(60000))*time.Microsecond)
		require.NotContains(t, said[len(said)-1], "error")
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		unfinished := 0
		for _, e := range entries {
			if strings.HasSuffix(e.Name(), ".new") {
				unfinished++
				continue
			}
			whole++
			require.NoError(t, verifyFile(filepath.Join(dir, e.Name()), anchorAt(t, path, c), c.options()))
		}
		require.LessOrEqual(t, unfinished, 1)
		left += unfinished
	}
	t.Logf("%d kills left %d unfinished files; %d backups were looked at", kills, left, whole)
	if !testing.Short() {
		require.NotZero(t, left)
		require.NotZero(t, whole)
	}
}

func TestFullDisk(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(9000, 1)...)
	require.NoError(t, s.Close())
	cmd := childProcess(t, "full", s.path)
	out, err := cmd.Output()
	require.Error(t, err)
	text := string(out)
	require.Contains(t, text, "error *store.WriteError")
	require.Contains(t, text, "nothing was recorded")
	require.Contains(t, text, "true <nil>", "the process that met the full disk can go on reading")
	var done int
	_, err = fmt.Sscanf(text, "done %d", &done)
	require.NoError(t, err)
	next, err := Open(s.path, c.options())
	require.NoError(t, err)
	adopt(s, next)
	n := 0
	require.NoError(t, s.Conditions(func(medium.Condition) error { n++; return nil }))
	require.Equal(t, done+1, n)
	verifyClean(t, s)
	record(t, s, adds(done, batch)...)
}

func TestTwoProcesses(t *testing.T) {
	s, c := newStore(t)
	require.NoError(t, s.Close())
	cmd := childProcess(t, "hold", s.path)
	hold, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	require.True(t, bufio.NewScanner(out).Scan())

	o := c.options()
	o.Wait = 60 * time.Millisecond
	for _, o.ReadOnly = range []bool{true, false} {
		began := time.Now()
		_, err = Open(s.path, o)
		var busy *BusyError
		require.ErrorAs(t, err, &busy)
		require.GreaterOrEqual(t, time.Since(began), o.Wait)
		require.Less(t, time.Since(began), 2*time.Second)
	}
	go func() {
		time.Sleep(100 * time.Millisecond)
		hold.Close()
	}()
	o.Wait = 10 * time.Second
	next, err := Open(s.path, o)
	require.NoError(t, err, "it waits for the other process")
	require.NoError(t, cmd.Wait())
	adopt(s, next)
	record(t, s, adds(1, 1)...)
}

// The tail of the file vanishes while it is open: the memory of the map fails.
func TestFileCutWhileOpen(t *testing.T) {
	c := &clock{now: start}
	path := filepath.Join(folder(t), "farm.resow")
	s, err := Create(path, settings, "ab", c.options())
	require.NoError(t, err)
	record(t, s, adds(1, 200)...)
	verifyClean(t, s)
	require.NoError(t, os.Truncate(path, 8192))
	var damaged *DamagedError
	err = s.Conditions(func(medium.Condition) error { return nil })
	require.ErrorAs(t, err, &damaged)
	_, err = s.Record("", adds(300, 1))
	require.ErrorAs(t, err, &damaged)
	_, err = s.Verify(nil, nil)
	require.ErrorAs(t, err, &damaged)
	require.NoError(t, s.Close())
	o := c.options()
	_, err = Open(path, o)
	require.ErrorAs(t, err, &damaged, "the lock was let go, the damage is seen")
}
