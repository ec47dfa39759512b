#pragma once
// The three things the program can do. Each returns the program's exit code and tells trouble on standard
// error. Threads: main only.

#include "demoroom/program/options.h"

namespace baskwell::demoroom {

int publish_live(const Options& options);  // until SIGINT or SIGTERM: 0; broker not reached: 1
int write_csv(const Options& options);     // 0; file not written: 1
int send_command(const Options& options);  // done: 0; refused by the room: 1; no answer: 2

}  // namespace baskwell::demoroom
