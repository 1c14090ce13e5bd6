# Days and batches at random: restricted likelihood, Kenward and Roger's standard errors and degrees of freedom.
suppressMessages({library(lme4); library(pbkrtest); library(nlme)})
told <- function(name, ...) cat(name, format(c(...), digits = 12, trim = TRUE), "\n")
cat("R", as.character(getRversion()), "lme4", as.character(packageVersion("lme4")),
    "pbkrtest", as.character(packageVersion("pbkrtest")), "nlme", as.character(packageVersion("nlme")), "\n")
tight <- lmerControl(optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-14, xtol_rel = 1e-12, ftol_rel = 1e-14))

# O. L. Davies and P. L. Goldsmith 1972, Dyestuff
dye <- lmer(Yield ~ 1 + (1 | Batch), Dyestuff, control = tight)
told("dyestuff", fixef(dye), as.data.frame(VarCorr(dye))$vcov)

judge <- function(name, value, arm, day) {
  d <- data.frame(value, arm = factor(arm, levels = unique(arm)), day = factor(day))
  m <- lmer(value ~ arm + (1 | day), d, control = tight)
  told(paste0(name, ".variances"), as.data.frame(VarCorr(m))$vcov)
  told(paste0(name, ".likelihood"), logLik(m))
  adjusted <- vcovAdj(m)
  for (k in 2:nlevels(d$arm)) {
    row <- as.numeric(seq_len(nlevels(d$arm)) == k)
    told(paste0(name, ".", levels(d$arm)[k]), sum(row * fixef(m)), sqrt(as.numeric(row %*% adjusted %*% row)),
         Lb_ddf(row, vcov(m), adjusted))
  }
  other <- lme(value ~ arm, random = ~ 1 | day, data = d,
               control = lmeControl(opt = "optim", reltol = 1e-14, maxIter = 500, msMaxIter = 500))
  told(paste0(name, ".nlme"), as.numeric(VarCorr(other)[, "Variance"]), logLik(other))
}
# invented: ln viscosity of a control and two arms, unequal counts, one arm without control on its last day
judge("unequal",
      c(9.852, 9.871, 9.902, 10.051, 10.098, 9.781, 9.803, 9.955, 9.690, 9.741, 9.948, 9.995, 10.201),
      c("C", "C", "C", "T", "T", "C", "U", "T", "C", "U", "U", "T", "T"),
      c(1, 1, 2, 1, 2, 3, 3, 3, 4, 4, 5, 5, 6))
# invented: every arm once a day
judge("blocks", c(4.60, 4.71, 4.55, 4.69, 4.66, 4.80, 4.52, 4.60),
      c("C", "T", "C", "T", "C", "T", "C", "T"), c(1, 1, 2, 2, 3, 3, 4, 4))
