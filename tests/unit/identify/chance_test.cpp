#include "identify/chance.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace polewright;

TEST_CASE("binomial tail: values that can be counted by hand") {
  CHECK(log10_binomial_tail(5, 3, 0.5) == Approx(std::log10(0.5)));           // symmetry
  CHECK(log10_binomial_tail(4, 4, 0.1) == Approx(-4.0));                      // 0.1⁴
  CHECK(log10_binomial_tail(3, 1, 0.2) == Approx(std::log10(1.0 - 0.512)));   // 1 − 0.8³
  CHECK(log10_binomial_tail(10, 9, 0.5) == Approx(std::log10(11.0 / 1024)));  // (10 + 1)/2¹⁰
  CHECK(log10_binomial_tail(10, 0, 0.5) == 0.0);
  CHECK(log10_binomial_tail(10, -3, 0.5) == 0.0);
  CHECK(log10_binomial_tail(3, 4, 0.5) < -1e6);
}

TEST_CASE("binomial tail: far out in the tail and near one") {
  // Leading term C(1000, 200)·p²⁰⁰·q⁸⁰⁰ by Stirling's series; the following terms add a factor below 1/(1 − r) with
  // r = 800·p/(201·q) = 0.0402 for p = 0.01, hence 0.02 in the logarithm.
  const double log_choose = std::lgamma(1001.0) - std::lgamma(201.0) - std::lgamma(801.0);
  const double leading = (log_choose + 200.0 * std::log(0.01) + 800.0 * std::log(0.99)) / std::log(10.0);
  CHECK(log10_binomial_tail(1000, 200, 0.01) == Approx(leading).margin(0.02));
  CHECK(log10_binomial_tail(1000, 400, 0.5) == Approx(0.0).margin(1e-6));  // the mean is 500, sigma 16
}
