package main

import rooms "resow/cmd/resow/farm"

var (
	bodyText   = rooms.Line
	cardText   = rooms.CardLine
	pricesText = rooms.PricesLine
	strengths  = rooms.Strengths
	roundTo    = rooms.Rounded
	join       = rooms.Join
	named      = rooms.Named
	when       = rooms.When
	quantity   = rooms.Quantity
	pointed    = rooms.Pointed
)
