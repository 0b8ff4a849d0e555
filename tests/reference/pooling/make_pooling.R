# Reference values for random-effects pooling. R package metafor (Viechtbauer 2010).
# Data: BCG vaccine trials, Colditz et al. (1994), as shipped with metafor/metadat (log risk ratios),
# and three invented sets of differences between two methods in several kitchens.
library(metafor)
num <- function(x) format(as.numeric(x), digits = 17)
cases <- list()
d <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
cases$bcg <- list(yi = as.numeric(d$yi), vi = as.numeric(d$vi))
cases$kitchens <- list(yi = c(0.52, 0.31, 0.70, 0.18, 0.44), vi = c(0.030, 0.022, 0.041, 0.018, 0.035))
cases$apart <- list(yi = c(1.20, -0.35, 0.60, 0.05), vi = c(0.03, 0.02, 0.05, 0.04))
cases$two <- list(yi = c(0.60, 0.10), vi = c(0.02, 0.05))
out <- c()
for (id in names(cases)) {
  x <- cases[[id]]
  m <- rma(yi, vi, data = x, method = "REML", test = "knha", control = list(threshold = 1e-14, maxiter = 10000))
  p <- predict(m)
  out <- c(out, sprintf('  {"id": "%s", "yi": [%s], "vi": [%s], "estimate": %s, "se": %s, "lower": %s, "upper": %s, "p": %s, "tau2": %s, "q": %s, "q_p": %s, "prediction_lower": %s, "prediction_upper": %s}',
    id, paste(num(x$yi), collapse = ", "), paste(num(x$vi), collapse = ", "), num(m$beta), num(m$se), num(m$ci.lb), num(m$ci.ub), num(m$pval), num(m$tau2), num(m$QE), num(m$QEp), num(p$pi.lb), num(p$pi.ub)))
}
writeLines(c("[", paste(out, collapse = ",\n"), "]"), "pooling.json")
cat(as.character(packageVersion("metafor")), "\n")
