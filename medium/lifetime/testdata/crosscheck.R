# Reads mats.csv, tables.csv, readings.csv and pvalues.csv from the directory
# given and prints one "set key value" line per figure, computed by R.
suppressPackageStartupMessages(library(survival))
dir <- commandArgs(TRUE)[1]
say <- function(set, key, value) cat(set, key, formatC(value, digits = 17, format = "g"), "\n")
mats <- read.csv(file.path(dir, "mats.csv"), colClasses = c(cause = "character"))
for (s in unique(mats$set)) {
  d <- mats[mats$set == s, ]
  late <- any(d$from > 0)
  y <- if (late) Surv(d$from, d$turns, d$retired) else Surv(d$turns, d$retired)
  for (type in c("log-log", "log", "plain")) {
    f <- survfit(y ~ 1, conf.type = type)
    for (i in seq_along(f$time)) if (f$n.event[i] > 0 && f$surv[i] > 0) {
      k <- function(what) paste0(type, "/", what, "/", f$time[i])
      say(s, k("S"), f$surv[i]); say(s, k("low"), f$lower[i]); say(s, k("high"), f$upper[i])
      say(s, k("se"), f$surv[i] * f$std.err[i])
      say(s, k("H"), f$cumhaz[i]); say(s, k("Hse"), f$std.chaz[i])
    }
    q <- quantile(f, c(.25, .5, .75))
    # R's interpolation goes astray where a limit rises again (few mats left).
    falls <- function(x) all(diff(x[!is.na(x)]) <= 0)
    parts <- c("quantile", if (falls(f$lower)) "lower", if (falls(f$upper)) "upper")
    for (i in 1:3) for (part in parts)
      say(s, paste0(type, "/", part, "/", c(.25, .5, .75)[i]), q[[part]][i])
  }
  if (!late) {
    tau <- max(d$turns)
    t <- summary(survfit(y ~ 1), rmean = tau)$table
    say(s, "rmean", t[["rmean"]]); say(s, "rmean-se", t[["se(rmean)"]])
    w <- survreg(y ~ 1, dist = "weibull", control = survreg.control(rel.tolerance = 1e-14, maxiter = 500))
    shape <- 1 / w$scale; scale <- exp(coef(w)[[1]]); v <- vcov(w)
    say(s, "shape", shape); say(s, "scale", scale); say(s, "loglik", w$loglik[1])
    say(s, "shape-se", shape * sqrt(v[2, 2])); say(s, "scale-se", scale * sqrt(v[1, 1]))
    say(s, "cov", -shape * scale * v[1, 2])
    r <- survdiff(y ~ d$group)
    say(s, "chisq", r$chisq); say(s, "logrank-p", pchisq(r$chisq, length(r$n) - 1, lower.tail = FALSE))
    p <- poisson.test(sum(d$retired), sum(d$turns))$conf.int
    say(s, "rate-low", p[1]); say(s, "rate-high", p[2])
  }
  state <- factor(ifelse(d$retired == 1, d$cause, "0"))
  ym <- if (late) Surv(d$from, d$turns, state) else Surv(d$turns, state)
  f <- if (late) survfit(ym ~ 1, id = seq_len(nrow(d)), conf.type = "log-log") else survfit(ym ~ 1, conf.type = "log-log")
  for (j in 2:length(f$states)) for (i in seq_along(f$time)) {
    if (sum(f$n.event[i, ]) == 0 || f$pstate[i, j] == 0 || f$pstate[i, j] > 1 - 1e-9) next
    k <- function(what) paste0("cif/", f$states[j], "/", what, "/", f$time[i])
    say(s, k("F"), f$pstate[i, j])
    # With late entries R's jackknife differs from the delta method; see incidence.go.
    if (late) next
    say(s, k("se"), f$std.err[i, j])
    say(s, k("low"), f$lower[i, j]); say(s, k("high"), f$upper[i, j])
  }
}
tables <- read.csv(file.path(dir, "tables.csv"))
for (i in seq_len(nrow(tables))) {
  t <- tables[i, ]
  b <- binom.test(t$x, t$n)$conf.int
  say(i, "cp-low", b[1]); say(i, "cp-high", b[2])
  w <- suppressWarnings(prop.test(t$x, t$n, correct = FALSE))$conf.int
  say(i, "wilson-low", w[1]); say(i, "wilson-high", w[2])
  m <- matrix(c(t$x, t$n - t$x, t$y, t$m - t$y), 2)
  for (alt in c("two.sided", "greater", "less")) say(i, alt, fisher.test(m, alternative = alt)$p.value)
}
readings <- read.csv(file.path(dir, "readings.csv"))
for (s in unique(readings$set)) {
  d <- readings[readings$set == s, ]
  ties <- anyDuplicated(d$turn) || anyDuplicated(d$value)
  k <- suppressWarnings(cor.test(d$turn, d$value, method = "kendall", exact = !ties, continuity = TRUE))
  say(s, "kendall-p", k$p.value)
  o <- outer(seq_len(nrow(d)), seq_len(nrow(d)), Vectorize(function(i, j)
    if (d$turn[j] > d$turn[i]) (d$value[j] - d$value[i]) / (d$turn[j] - d$turn[i]) else NA))
  say(s, "slope", median(o, na.rm = TRUE))
  t <- t.test(d$value)
  say(s, "mean-low", t$conf.int[1]); say(s, "mean-high", t$conf.int[2])
}
p <- read.csv(file.path(dir, "pvalues.csv"))$p
a <- p.adjust(p, "holm")
for (i in seq_along(a)) say(0, paste0("holm/", i), a[i])
