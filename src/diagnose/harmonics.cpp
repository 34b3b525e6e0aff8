#include "diagnose/harmonics.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace polewright::diagnose {
namespace {

constexpr int kHighest = 6;
constexpr Eigen::Index kFewestTrails = 12;
/// Over the gain asked of other components: a scatter read off a median jumps by itself, and five orders are tried.
constexpr double kCaution = 2.0;

double amplitude_of(const Account& account, std::size_t wave) {
  return account.coefficients.block<2, 1>(account.row_of(wave), 0).norm();
}

std::optional<std::size_t> strongest(const Account& account) {
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < account.components.size(); ++i)
    if (account.components[i].term == Term::wave && (!best || amplitude_of(account, i) > amplitude_of(account, *best)))
      best = i;
  return best;
}

/// Information criterion of places and trails; the trails' own scatter is part of the model, as the places' is.
double criterion(const Series& s, const Account& account) {
  const double trails = static_cast<double>((s.smear_sigma.array() > 0.0).count());
  return account.bic() + 2.0 * trails * std::log(trail_scatter_px4(s, account));
}

/// Frequencies that frames at this cadence cannot tell from one another, to the resolution of the series.
bool alias_of(double hz, double other_hz, const Series& s) {
  const double sampling_hz = 1.0 / s.cadence_s();
  const double folded = std::abs(hz - sampling_hz * std::round(hz / sampling_hz));
  return std::abs(folded - other_hz) * s.span_s() < 1.0;
}

/// The account's components with the harmonic in, and without what it would show as. Nothing when it is there already.
std::optional<std::vector<Component>> with_harmonic(const Series& s, const Account& account, std::size_t fundamental,
                                                    int order) {
  const double hz = order / account.components[fundamental].scale_s;
  std::vector<Component> out;
  for (std::size_t i = 0; i < account.components.size(); ++i) {
    const Component& c = account.components[i];
    const bool wave = c.term == Term::wave;
    if (wave && std::abs(1.0 / c.scale_s - hz) * s.span_s() < 1.0) return {};
    if (!wave || i == fundamental || !alias_of(hz, 1.0 / c.scale_s, s)) out.push_back(c);
  }
  out.push_back({Term::wave, 1.0 / hz, 0});
  return out;
}

}  // namespace

bool add_harmonics(const Series& s, double least_bic_gain, Account& account, std::vector<WaveError>& errors) {
  if ((s.smear_sigma.array() > 0.0).count() < kFewestTrails || s.cadence_s() <= 0.0) return false;
  bool changed = false;
  for (int order = 2; order <= kHighest; ++order) {
    const auto fundamental = strongest(account);
    if (!fundamental) return changed;
    const auto components = with_harmonic(s, account, *fundamental, order);
    if (!components) continue;
    Account tried = fit(s, *components);
    std::vector<WaveError> tried_errors = refine_waves(s, tried);
    if (criterion(s, account) - criterion(s, tried) < kCaution * least_bic_gain) continue;
    account = std::move(tried);
    errors = std::move(tried_errors);
    changed = true;
  }
  return changed;
}

}  // namespace polewright::diagnose
