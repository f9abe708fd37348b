//! The single integration test binary: it links once. One module a subject; new tests go into the module whose question
//! they answer.

mod advice;
mod architecture;
mod bound;
mod camera;
mod camera_files;
mod cli;
mod conventions;
mod core;
mod dataset;
mod field;
mod files;
mod flags;
mod laws;
mod made_in_code;
mod mask_files;
mod masked;
mod measure_frames;
mod measuring;
mod measuring_libraries;
mod observed;
mod orientation;
mod page;
mod peers;
mod practice;
mod prescriptions;
mod properties;
mod published;
mod readme;
mod renders;
mod scenarios;
mod score;
mod screens;
mod support;
mod twins;
mod web;
