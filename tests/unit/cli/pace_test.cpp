#include <catch2/catch.hpp>

#include "cli/check_progress.hpp"

using polewright::cli::Pace;

TEST_CASE("pace: nothing said in the first second, steady afterwards") {
  Pace pace;
  CHECK_FALSE(pace.after(0.0, 1));
  CHECK_FALSE(pace.after(0.5, 2));
  for (int i = 3; i < 200; ++i) {
    const auto rate = pace.after(0.5 * (i - 1), static_cast<std::size_t>(i));
    if (i > 3) CHECK(rate.value() == Approx(2.0));  // two a second, exactly
  }
}

TEST_CASE("pace: remembered frames that rush by are forgotten after ten seconds") {
  Pace pace;
  for (int i = 0; i <= 400; ++i) (void)pace.after(0.001 * i, static_cast<std::size_t>(i));
  double t = 0.4, rate = 0.0;
  for (std::size_t done = 401; done < 430; ++done) rate = pace.after(t += 0.5, done).value_or(0.0);
  CHECK(rate == Approx(2.0).epsilon(0.1));  // the window's edge falls between two frames
}

TEST_CASE("pace: frames slower than the span still have a rate") {
  Pace pace;
  double rate = 0.0;
  for (int i = 0; i < 6; ++i) rate = pace.after(25.0 * i, static_cast<std::size_t>(i)).value_or(0.0);
  CHECK(rate == Approx(0.04));
}
