//! A load goes somewhere, and comes back.

use super::{Driver, Inlet, Move, Out, Packed, PackedDriver, Search, Supply, Which};
use crate::plan::driven::Output;

impl Search<'_> {
    pub(super) fn apply(&mut self, step: Move, load: usize) {
        let ma = self.room.loads[load].total_ma;
        match step {
            Move::Skip => {
                self.skips -= 1;
                self.skipped.push(load);
            }
            Move::Share(out) => {
                self.outs[out].loads.push(load);
                let (driver, inlet) = (self.outs[out].driver, self.outs[out].inlet);
                self.load(driver, inlet, ma);
            }
            Move::Put(which, inlet, supply) => {
                let driver = match which {
                    Which::Open(at) => at,
                    Which::New(kind) => {
                        self.left[kind] -= 1;
                        let inlets = self.room.driver(kind).inlets.iter();
                        self.drivers.push(Driver {
                            kind,
                            ma: 0,
                            inlets: inlets
                                .map(|&outputs| Inlet {
                                    outputs,
                                    used: 0,
                                    ma: 0,
                                    supply: None,
                                })
                                .collect(),
                        });
                        self.drivers.len() - 1
                    }
                };
                if let Some(which) = supply {
                    let supply = match which {
                        Which::Open(at) => at,
                        Which::New(kind) => {
                            self.left[self.room.drivers.len() + kind] -= 1;
                            self.supplies.push(Supply {
                                kind,
                                ma: 0,
                                pairs: 0,
                            });
                            self.supplies.len() - 1
                        }
                    };
                    self.supplies[supply].pairs += 1;
                    self.inlets -= 1;
                    self.drivers[driver].inlets[inlet].supply = Some(supply);
                }
                self.drivers[driver].inlets[inlet].used += 1;
                self.outs.push(Out {
                    driver,
                    inlet,
                    loads: vec![load],
                });
                self.load(driver, inlet, ma);
            }
        }
    }

    fn load(&mut self, driver: usize, inlet: usize, ma: i64) {
        self.drivers[driver].ma += ma;
        self.drivers[driver].inlets[inlet].ma += ma;
        if let Some(supply) = self.drivers[driver].inlets[inlet].supply {
            self.supplies[supply].ma += ma;
        }
    }

    pub(super) fn undo(&mut self, step: Move, load: usize) {
        let ma = self.room.loads[load].total_ma;
        match step {
            Move::Skip => {
                self.skips += 1;
                self.skipped.pop();
            }
            Move::Share(out) => {
                self.outs[out].loads.pop();
                let (driver, inlet) = (self.outs[out].driver, self.outs[out].inlet);
                self.load(driver, inlet, -ma);
            }
            Move::Put(which, inlet, supply) => {
                let Some(out) = self.outs.pop() else { return };
                let driver = out.driver;
                self.load(driver, inlet, -ma);
                self.drivers[driver].inlets[inlet].used -= 1;
                if let Some(hook) = supply {
                    self.inlets += 1;
                    if let Some(supply) = self.drivers[driver].inlets[inlet].supply.take() {
                        self.supplies[supply].pairs -= 1;
                    }
                    if let Which::New(kind) = hook {
                        self.supplies.pop();
                        self.left[self.room.drivers.len() + kind] += 1;
                    }
                }
                if let Which::New(kind) = which {
                    self.drivers.pop();
                    self.left[kind] += 1;
                }
            }
        }
    }

    pub(super) fn write(&self) -> Packed {
        let mut drivers: Vec<PackedDriver> = self
            .drivers
            .iter()
            .map(|driver| PackedDriver {
                kind: driver.kind,
                outputs: Vec::new(),
                feeds: driver.inlets.iter().map(|inlet| inlet.supply).collect(),
            })
            .collect();
        for out in &self.outs {
            let mut loads = out.loads.clone();
            loads.sort_unstable();
            drivers[out.driver].outputs.push(Output {
                inlet: out.inlet,
                loads,
            });
        }
        let mut left = self.skipped.clone();
        left.sort_unstable();
        Packed {
            drivers,
            supplies: self
                .supplies
                .iter()
                .map(|supply| (supply.kind, supply.ma))
                .collect(),
            left,
        }
    }
}
