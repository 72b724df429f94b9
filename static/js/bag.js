// The page where a bag is counted.
import { start } from "./count.js";

start();
