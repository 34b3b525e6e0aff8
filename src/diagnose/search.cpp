#include "diagnose/search.hpp"

#include <algorithm>
#include <cmath>

#include "diagnose/harmonics.hpp"

namespace polewright::diagnose {
namespace {

/// Fewer frames than these cannot carry a searched-for shape: with three coefficients and a scale to choose, some scale
/// fits any eight points.
constexpr Eigen::Index kFramesForSettling = 10, kFramesForWave = 12, kFramesForStep = 6;
/// Below this many frames wander that is alike from frame to frame can pass for anything that dies away; settling then
/// must gain twice as much. Seen on restless nights of 14 frames; common practice, no source.
constexpr Eigen::Index kShortSeries = 20;
/// A chance find among all the periods tried is no periodic error.
constexpr double kLargestFalseAlarm = 1e-3;

bool holds(const Account& account, Term term) {
  return std::any_of(account.components.begin(), account.components.end(),
                     [&](const auto& c) { return c.term == term; });
}

std::size_t count(const Account& account, Term term) {
  return static_cast<std::size_t>(std::count_if(account.components.begin(), account.components.end(),
                                                [&](const auto& c) { return c.term == term; }));
}

struct Candidate {
  Component component;
  double gain = 0.0;
};

void offer(std::vector<Candidate>& list, const Component& component, double gain) {
  if (gain > 0.0) list.push_back({component, gain});
}

/// Best step and best blip. With an orthonormal design Q and weights w, a step from k on has Qᵀc = Σ_{i≥k} w_i q_i, so
/// one pass from the end serves all k.
void offer_events(std::vector<Candidate>& list, const Series& s, const Account& account, const Projector& p) {
  const Eigen::Index n = s.size();
  Candidate step{{Term::step, 0.0, 0}, 0.0}, blip{{Term::blip, 0.0, 0}, 0.0};
  Eigen::VectorXd q0 = Eigen::VectorXd::Zero(p.tracking().cols()), q1 = Eigen::VectorXd::Zero(p.others().cols());
  Eigen::RowVector3d r = Eigen::RowVector3d::Zero();
  double length = 0.0;
  const auto gain = [](const Eigen::RowVector3d& along, double square, double square0, double square1) {
    const double left0 = square - square0, left1 = square - square1;
    double out = 0.0;
    if (left0 > 1e-6 * square) out += along[0] * along[0] / left0;
    if (left1 > 1e-6 * square) out += along.tail<2>().squaredNorm() / left1;
    return out;
  };
  for (Eigen::Index k = n - 1; k >= 0; --k) {
    const double w = s.weight[k];
    const Eigen::RowVector3d wr = w * account.residual.row(k);
    const double alone =
        gain(wr, w * w, w * w * p.tracking().row(k).squaredNorm(), w * w * p.others().row(k).squaredNorm());
    if (alone > blip.gain) blip = {{Term::blip, 0.0, k}, alone};
    q0 += w * p.tracking().row(k).transpose();
    q1 += w * p.others().row(k).transpose();
    r += wr;
    length += w * w;
    const double from_here = gain(r, length, q0.squaredNorm(), q1.squaredNorm());
    // A step before the last frame or after the first is a blip with a longer name.
    if (k >= 2 && k <= n - 2 && from_here > step.gain) step = {{Term::step, 0.0, k}, from_here};
  }
  if (n >= kFramesForStep) offer(list, step.component, step.gain);
  if (n >= kFramesForStep) offer(list, blip.component, blip.gain);
}

void offer_settling(std::vector<Candidate>& list, const Series& s, const Account& account, const Projector& p) {
  if (holds(account, Term::settling) || s.size() < kFramesForSettling) return;
  Candidate best{{Term::settling, 1.0, 0}, 0.0};
  const auto gain_at = [&](double decay_s) {
    return p.gain(account.residual, columns({Term::settling, decay_s, 0}, s), false);
  };
  // Three frames while it moves, or there is no telling it from a step.
  const double low = std::max(0.7 * s.cadence_s(), 0.75 * (s.time_s[2] - s.time_s[0])), high = s.span_s() / 3.0;
  double at = low;
  for (double decay = low; decay <= high; decay *= 1.2)
    if (const double gain = gain_at(decay); gain > best.gain) {
      best.gain = gain;
      at = decay;
    }
  if (best.gain <= 0.0) return;
  double a = at / 1.2, b = at * 1.2;
  for (int i = 0; i < 15; ++i) {
    const double c = b - 0.618034 * (b - a), d = a + 0.618034 * (b - a);
    if (gain_at(c) > gain_at(d))
      b = d;
    else
      a = c;
  }
  best.component.scale_s = 0.5 * (a + b);
  best.gain = gain_at(best.component.scale_s);
  offer(list, best.component, best.gain);
}

std::vector<Candidate> candidates(const Series& s, const Account& account, const NightOptions& options, Wave& wave) {
  std::vector<Candidate> list;
  const Projector p(s, account.components);
  const auto plain = [&](Term term) {
    offer(list, {term, 0.0, 0}, p.gain(account.residual, columns({term, 0.0, 0}, s), false));
  };
  if (!holds(account, Term::drift)) plain(Term::drift);
  if (holds(account, Term::drift) && !holds(account, Term::bend) && s.size() >= 5) plain(Term::bend);
  if (holds(account, Term::bend) && !holds(account, Term::bend3) && s.size() >= 6) plain(Term::bend3);
  offer_events(list, s, account, p);
  offer_settling(list, s, account, p);
  if (count(account, Term::wave) < 4 && s.size() >= kFramesForWave) {
    wave = strongest_wave(s, account, options);
    offer(list, {Term::wave, wave.period_s, 0}, wave.gain);
  }
  return list;
}

/// The candidate that lowers the criterion most.
std::optional<Candidate> best_of(const std::vector<Candidate>& list, const Series& s, const Account& account,
                                 double least_gain) {
  const double n = static_cast<double>(account.residual.size());
  std::optional<Candidate> best;
  double best_gain = least_gain;
  for (const Candidate& c : list) {
    // A direction that had to be found as well costs two parameters.
    const int extra = c.component.term == Term::wave && !s.direction_known ? 2 : 0;
    const double now = n * std::log(std::max(account.rss, n) / n);
    const double then = n * std::log(std::max(account.rss - c.gain, n) / n);
    const double gain = now - then - (parameters(c.component) + extra) * std::log(n);
    if (gain > best_gain) {
      best_gain = gain;
      best = c;
    }
  }
  return best;
}

enum class Noise { white, red };

std::vector<double> gains_of(const Series& s, const Account& account, Noise noise) {
  // Wander that is alike from frame to frame has fewer independent figures than frames; a white-noise criterion would
  // take each of its turns for an event.
  const double red = noise == Noise::red ? account.redness() : 0.0, independent = (1.0 - red) / (1.0 + red);
  const double n = static_cast<double>(account.residual.size());
  std::vector<double> out;
  for (std::size_t i = 0; i < account.components.size(); ++i) {
    std::vector<Component> others = account.components;
    others.erase(others.begin() + static_cast<std::ptrdiff_t>(i));
    const Account without = fit(s, others);
    const double drop = n * (std::log(std::max(without.rss, n) / n) - std::log(std::max(account.rss, n) / n));
    out.push_back(independent * drop - parameters(account.components[i]) * std::log(n));
  }
  return out;
}

/// Bends lean on the drift, so they go first.
bool leaned_on(const Account& account, Term term) {
  return (term == Term::drift && holds(account, Term::bend)) || (term == Term::bend && holds(account, Term::bend3));
}

void prune(const Series& s, const NightOptions& options, Noise noise, Finding& finding) {
  while (true) {
    finding.bic_gain = gains_of(s, finding.account, noise);
    std::size_t weakest = finding.bic_gain.size();
    const auto least = [&](Term term) {
      return options.least_bic_gain * (term == Term::settling && s.size() < kShortSeries ? 2.0 : 1.0);
    };
    for (std::size_t i = 0; i < finding.bic_gain.size(); ++i)
      if (!leaned_on(finding.account, finding.account.components[i].term) &&
          finding.bic_gain[i] < least(finding.account.components[i].term) &&
          (weakest == finding.bic_gain.size() || finding.bic_gain[i] < finding.bic_gain[weakest]))
        weakest = i;
    if (weakest == finding.bic_gain.size()) return;
    std::vector<Component> left = finding.account.components;
    left.erase(left.begin() + static_cast<std::ptrdiff_t>(weakest));
    finding.account = fit(s, left);
  }
}

void grow(Series& s, const NightOptions& options, Finding& finding, bool events) {
  const std::size_t most_blips = static_cast<std::size_t>(s.size()) / 10 + 1;
  for (int round = 0; round < 40; ++round) {
    Wave wave;
    std::vector<Candidate> list = candidates(s, finding.account, options, wave);
    std::erase_if(list, [&](const Candidate& c) {
      const Term t = c.component.term;
      return (t == Term::step &&
              (!events || count(finding.account, Term::step) >= static_cast<std::size_t>(options.most_steps))) ||
             (t == Term::blip && (!events || count(finding.account, Term::blip) >= most_blips));
    });
    const auto best = best_of(list, s, finding.account, options.least_bic_gain);
    if (!best) return;
    std::vector<Component> more = finding.account.components;
    more.push_back(best->component);
    if (best->component.term == Term::wave && !s.direction_known) s.turn_to(wave.direction);
    finding.account = fit(s, more);
    // While something is still missing, what is missing makes the residual red; that must not hold the rest back.
    prune(s, options, Noise::white, finding);
  }
}

void drop_chance_waves(const Series& s, const NightOptions& options, Finding& finding) {
  for (std::size_t i = finding.account.components.size(); i-- > 0;) {
    if (finding.account.components[i].term != Term::wave ||
        false_alarm(s, finding.account, i, options) < kLargestFalseAlarm)
      continue;
    std::vector<Component> left = finding.account.components;
    left.erase(left.begin() + static_cast<std::ptrdiff_t>(i));
    finding.account = fit(s, left);
    prune(s, options, Noise::red, finding);
    i = std::min(i, finding.account.components.size());
  }
}

/// Amplitude of a wave, in units of the series' first column.
double amplitude_of(const Account& account, std::size_t wave) {
  return account.coefficients.block<2, 1>(account.row_of(wave), 0).norm();
}

/// Waves as refined, less those whose amplitude the joint fit does not know: two that share a peak (the second was the
/// first one's inaccuracy before it was refined), or one that a bend or a settling could as well be.
void refine(const Series& s, const NightOptions& options, Finding& finding) {
  finding.wave_error = refine_waves(s, finding.account);
  if (add_harmonics(s, options.least_bic_gain, finding.account, finding.wave_error))
    finding.bic_gain = gains_of(s, finding.account, Noise::red);
  while (true) {
    const std::vector<Component>& c = finding.account.components;
    std::size_t weakest = c.size();
    double least = options.least_sigma;
    for (std::size_t i = 0; i < c.size(); ++i) {
      if (c[i].term != Term::wave) continue;
      const double sigmas = amplitude_of(finding.account, i) / std::max(finding.wave_error[i].amplitude, 1e-12);
      if (sigmas < least) {
        least = sigmas;
        weakest = i;
      }
    }
    if (weakest == c.size()) return;
    std::vector<Component> left = c;
    left.erase(left.begin() + static_cast<std::ptrdiff_t>(weakest));
    finding.account = fit(s, left);
    finding.wave_error = refine_waves(s, finding.account);
    finding.bic_gain = gains_of(s, finding.account, Noise::red);
  }
}

}  // namespace

Finding explain_motion(Series& s, const NightOptions& options) {
  Finding finding;
  if (s.size() < 2) return finding;
  finding.account = fit(s, {});
  grow(s, options, finding, true);
  prune(s, options, Noise::red, finding);
  drop_chance_waves(s, options, finding);
  if (count(finding.account, Term::step) >= static_cast<std::size_t>(options.most_steps)) {
    finding.restless = true;
    finding.account = fit(s, {});
    grow(s, options, finding, false);
    prune(s, options, Noise::red, finding);
    drop_chance_waves(s, options, finding);
  }
  refine(s, options, finding);
  return finding;
}

}  // namespace polewright::diagnose
