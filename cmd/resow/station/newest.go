package station

import "sync"

// newest keeps the newest values by their keys, in memory only.
type newest[T any] struct {
	most int

	mu   sync.Mutex
	keys []string // the oldest first
	of   map[string]T
}

func (n *newest[T]) put(key string, value T) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.of == nil {
		n.of = map[string]T{}
	}
	if _, ok := n.of[key]; !ok {
		n.keys = append(n.keys, key)
	}
	n.of[key] = value
	if len(n.keys) > n.most {
		delete(n.of, n.keys[0])
		n.keys = n.keys[1:]
	}
}

func (n *newest[T]) get(key string) (value T, ok bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	value, ok = n.of[key]
	return value, ok
}
