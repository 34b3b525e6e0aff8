// The command line: options in, results out, exit status.
#pragma once

namespace polewright::cli {

/// 0 answered; 1 input or usage wrong, nothing analysed; 2 analysed, but these frames cannot answer the question.
int run(int argc, char** argv);

}  // namespace polewright::cli
