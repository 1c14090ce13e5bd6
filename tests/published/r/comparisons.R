# Several means against a control, all pairs, Welch, pairs, equivalence, sample sizes.
suppressMessages(library(multcomp))
told <- function(name, ...) cat(name, format(c(...), digits = 12, trim = TRUE), "\n")
cat("R", as.character(getRversion()), "multcomp", as.character(packageVersion("multcomp")),
    "mvtnorm", as.character(packageVersion("mvtnorm")), "\n")

# C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096, blood counts
blood <- data.frame(
  count = c(7.4, 8.5, 7.2, 8.24, 9.84, 8.32, 9.76, 8.8, 7.68, 9.36, 12.8, 9.68, 12.16, 9.2, 10.55),
  drug = factor(rep(c("control", "a", "b"), c(6, 4, 5)), levels = c("control", "a", "b")))
model <- aov(count ~ drug, blood)
for (side in c("two.sided", "greater", "less")) {
  many <- glht(model, linfct = mcp(drug = "Dunnett"), alternative = side)
  exact <- summary(many, test = adjusted("single-step", abseps = 1e-6, maxpts = 200000))$test
  told(paste0("dunnett.", side, ".t"), exact$tstat)
  told(paste0("dunnett.", side, ".p"), exact$pvalues)
  set.seed(1)
  told(paste0("dunnett.", side, ".critical"),
       attr(confint(many)$confint, "calpha"))
}
pairs <- TukeyHSD(model)$drug
told("tukey.difference", pairs[, "diff"])
told("tukey.low", pairs[, "lwr"])
told("tukey.high", pairs[, "upr"])
told("tukey.p", pairs[, "p adj"])

# Welch one by one, Holm
holm <- function(a) t.test(a, blood$count[1:6])$p.value
alone <- c(holm(blood$count[7:10]), holm(blood$count[11:15]))
told("welch.p", alone)
told("welch.holm", p.adjust(alone, "holm"))
half <- function(a) t.test(a, blood$count[1:6], conf.level = 0.975)$conf.int
told("welch.bonferroni", half(blood$count[7:10]), half(blood$count[11:15]))

# Student, Biometrika 6 (1908), sleep
one <- sleep$extra[sleep$group == 1]; two <- sleep$extra[sleep$group == 2]
by.pair <- t.test(one, two, paired = TRUE)
told("paired", by.pair$statistic, by.pair$parameter, by.pair$p.value, by.pair$conf.int)

# equivalence: two one-sided tests and the 90 % interval, Welch
told("tost.p", max(t.test(one, two, mu = -3, alternative = "greater")$p.value,
                   t.test(one, two, mu = 3, alternative = "less")$p.value))
told("tost.interval", t.test(one, two, conf.level = 0.9)$conf.int)

# tables
told("qtukey", qtukey(0.95, c(3, 4, 4, 5, 3), c(10, 16, 20, 20, 2)))
# the probability that k t values stay within the critical values printed by Dunnett (1964), two-sided, and above
within <- function(k, df, bound, lower, seed) {
  set.seed(seed)
  pmvt(rep(lower * bound, k), rep(bound, k), df = df, corr = diag(0.5, k) + 0.5,
       algorithm = GenzBretz(maxpts = 500000, abseps = 1e-6))
}
told("pmvt.two", mapply(within, c(2, 3, 4, 5), c(10, 10, 20, 20), c(2.57, 2.76, 2.65, 2.73), -1, 1:4))
told("pmvt.one", mapply(within, c(2, 3), c(10, 20), c(2.15, 2.19), -Inf, 5:6))

# power
n <- function(delta, power) power.t.test(delta = delta, power = power, strict = TRUE)$n
told("power.t", n(0.2, 0.8), n(0.5, 0.8), n(0.8, 0.8), n(1, 0.9))
found <- function(n, df) {
  # the difference in SD that a t test with a scatter of df degrees of freedom finds four times in five
  critical <- qt(0.975, df)
  chance <- function(d) pt(-critical, df, d / sqrt(2 / n)) + 1 - pt(critical, df, d / sqrt(2 / n)) - 0.8
  uniroot(chance, c(0.1, 20), tol = 1e-10)$root
}
told("detectable", mapply(found, c(2, 3, 4, 1, 2, 3), c(2, 4, 6, 10, 10, 10)))
told("power.anova", power.anova.test(groups = 3, between.var = 0.25^2 * 3 / 2, within.var = 1, power = 0.8)$n,
     power.anova.test(groups = 4, between.var = 0.4^2 * 4 / 3, within.var = 1, power = 0.8)$n,
     power.anova.test(groups = 4, between.var = 1, within.var = 3, power = 0.8)$n)
told("power.prop", power.prop.test(p1 = 0.5, p2 = 0.75, power = 0.9)$n)

# do arms scatter alike?
told("bartlett", bartlett.test(list(c(1, 1.1, 0.9, 1.05), c(1, 2.4, -0.6, 1.9)))$p.value,
     bartlett.test(list(c(1, 1.1, 0.9, 1.05), c(1, 1.4, 0.6, 1.3)))$p.value)

# one-sided bounds that hold whichever side each difference is held against: sides in turn, for the blood counts and for
# three against a control of as many values
turned <- function(loadings, df, seed) {
  signed <- sort(loadings) * rep(c(-1, 1), length.out = length(loadings))
  corr <- outer(signed, signed)
  diag(corr) <- 1
  set.seed(seed)
  found <- qmvt(0.95, tail = "lower.tail", df = df, corr = corr, algorithm = GenzBretz(maxpts = 500000, abseps = 1e-7))
  found$quantile
}
told("either.side", turned(sqrt(c(4 / 10, 5 / 11)), 12, 7), turned(sqrt(rep(0.5, 3)), 20, 8))
