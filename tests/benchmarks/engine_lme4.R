# The work of tests/benchmarks/engine.py by lme4 + emmeans: fit, Kenward-Roger for all pairs, Tukey p.
# Arguments: folder with trials.csv (trial, y, method, session, block). Writes pairs.csv; prints seconds.
suppressMessages({library(lme4); library(emmeans); library(pbkrtest)})
emm_options(msg.interaction = FALSE)
folder <- commandArgs(TRUE)[1]
d <- read.csv(file.path(folder, "trials.csv"))
for (n in c("method", "session", "block")) d[[n]] <- factor(d[[n]])
sets <- split(d, d$trial)
quiet <- lmerControl(check.conv.singular = "ignore")
one <- function(set) {
  m <- suppressMessages(suppressWarnings(
    lmer(y ~ method + (1 | session) + (1 | block), set, control = quiet)))
  p <- as.data.frame(pairs(emmeans(m, "method", lmer.df = "kenward-roger"), adjust = "tukey"))
  cbind(trial = set$trial[1], criterion = REMLcrit(m), p[c("contrast", "estimate", "SE", "df")])
}
one(sets[[1]])
start <- proc.time()[["elapsed"]]
out <- do.call(rbind, lapply(sets, one))
cat(proc.time()[["elapsed"]] - start, "\n")
write.csv(out, file.path(folder, "pairs.csv"), row.names = FALSE)
