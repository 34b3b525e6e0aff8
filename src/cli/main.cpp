#include "cli/run.hpp"

int main(int argc, char** argv) {
  return polewright::cli::run(argc, argv);
}
